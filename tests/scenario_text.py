"""Scenarios of the tests: the text of another one with some of it changed."""

from __future__ import annotations

import re


def changed(text: str, *changes: tuple[str, str]) -> str:
    """The text with patterns replaced, each where it is found first; it must be found."""
    for pattern, replacement in changes:
        text, count = re.subn(pattern, replacement, text, count=1)
        assert count == 1, pattern
    return text


def with_a_pole_hardly_known(text: str) -> str:
    """The demonstration as it would be if nobody had seen the pole better than to a second of arc.

    A few weeks of passes have something to say of it then, and the truth is far from the start.
    """
    return changed(
        text,
        (r"(?s)\[\[estimate\.published\]\].*?(?=\[estimate\.pass_biases\])", ""),
        (r'"spin.rate" = "1e-6 deg/d"\n', f'"spin.rate" = "1e-6 deg/d"\n{HARDLY_KNOWN}'),
        (r'(?s)(?<=\[truth\]\n).*"spin.rate" = "-4e-9 deg/d"\n', FAR_FROM_KNOWN),
    )


HARDLY_KNOWN = """"pole.node_longitude" = "1000 mas"
"pole.precession_rate" = "200 mas/yr"
"pole.obliquity" = "1000 mas"
"pole.obliquity_rate" = "50 mas/yr"
"""
FAR_FROM_KNOWN = """"pole.node_longitude" = "150 mas"
"pole.precession_rate" = "-40 mas/yr"
"pole.obliquity" = "-90 mas"
"pole.obliquity_rate" = "6 mas/yr"
"spin.rate" = "2e-7 deg/d"
"""
