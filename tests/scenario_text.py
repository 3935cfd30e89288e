"""Scenarios of the tests: the text of another one with some of it changed."""

from __future__ import annotations

import re


def changed(text: str, *changes: tuple[str, str]) -> str:
    """The text with patterns replaced, each where it is found first; it must be found."""
    for pattern, replacement in changes:
        text, count = re.subn(pattern, replacement, text, count=1)
        assert count == 1, pattern
    return text
