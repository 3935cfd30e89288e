"""Who judges how a page lies on a screen: its own text, and a browser where there is one.

In: the text of a page, a width in CSS pixels, light or dark. Out: `Laid`, what was seen. The judge
of the document knows the rule by which the page keeps within any width (whatever is wide stands
in a box that scrolls); the browser measures that it does.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
VOID = {"meta", "br", "hr", "img", "link", "input", "path", "use"}
WIDE = {"table", "svg", "pre", "img", "video", "canvas"}


@dataclass
class Laid:
    """How a page lies: what sticks out at the right, what went wrong, paper and ink."""

    outside: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    paper: tuple[float, float, float] = (0.0, 0.0, 0.0)
    ink: tuple[float, float, float] = (0.0, 0.0, 0.0)


def judges() -> dict[str, object]:
    """The judges that this machine has, by name."""
    found = {"document": by_document}
    return found | ({"browser": by_browser} if _browser() else {})


def _browser() -> str | None:
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


# ------------------------------------------------------------------------ the document


class _Nesting(HTMLParser):
    """Wide elements that stand in no box that scrolls, and what a script or the net would be."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[tuple[str, str]] = []
        self.outside: list[str] = []
        self.complaints: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        inside = [name for name, _ in self.open]
        boxed = any("scroll" in kind.split() for _, kind in self.open)
        if tag in WIDE and "svg" not in inside and not boxed:
            self.outside.append(f"{tag} {values.get('class') or values.get('id') or ''}".strip())
        if tag in ("script", "iframe", "object") or (values.get("src") or "").startswith("http"):
            self.complaints.append(f"{tag} asks for more than the page")
        if tag not in VOID:
            self.open.append((tag, values.get("class") or ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop()[0] != tag:
            pass


def by_document(text: str, width: int, *, dark: bool) -> Laid:
    """By the nesting of the document and the rules of its style sheet."""
    style = re.sub(r"/\*.*?\*/", "", text[text.index("<style>") : text.index("</style>")])
    nesting = _Nesting(text)
    laid = Laid(nesting.outside, nesting.complaints)
    if not re.search(r"\.scroll \{[^}]*overflow-x: auto;[^}]*max-width: 100%", style):
        laid.outside.append("the box that scrolls")
    if not re.search(r"body \{[^}]*overflow-wrap: break-word", style):
        laid.outside.append("long words")
    for selector, size in re.findall(r"([^{};]+) \{[^{}]*min-width: ([\d.]+)rem", style):
        if "svg" not in selector and 16.0 * float(size) > width:
            laid.outside.append(selector.strip())
    colours = dict(re.findall(r"--(\w+): (#\w+);", style.split("@media")[0]))
    if dark:
        colours = dict(re.findall(r"--(\w+): (#\w+);", style.split("@media")[1]))
    laid.paper, laid.ink = _hexadecimal(colours["paper"]), _hexadecimal(colours["ink"])
    return laid


def _hexadecimal(colour: str) -> tuple[float, float, float]:
    digits = colour.lstrip("#")
    digits = "".join(2 * d for d in digits) if len(digits) == 3 else digits
    red, green, blue = (int(digits[k : k + 2], 16) / 255.0 for k in (0, 2, 4))
    return red, green, blue


# ------------------------------------------------------------------------- the browser

MEASURE = """<!DOCTYPE html><meta charset="utf-8"><body style="margin:0">
<iframe id="f" style="border:0;width:{width}px;height:900px"></iframe><script>
const frame = document.getElementById("f");
frame.onload = () => {{
  const page = frame.contentDocument, root = page.scrollingElement;
  const outside = [];
  if (root.scrollWidth > {width}) {{
    for (const e of page.body.querySelectorAll("*")) {{
      if (e.getBoundingClientRect().right > {width} + 0.5 && !e.closest(".scroll"))
        outside.push(e.tagName + " " + (e.id || e.className));
    }}
    outside.push("the page: " + root.scrollWidth + " px");
  }}
  const of = getComputedStyle.call(frame.contentWindow, page.body);
  document.body.textContent = "LAID" + JSON.stringify(
    {{outside, paper: of.backgroundColor, ink: of.color}}) + "END";
}};
frame.srcdoc = {page};
</script>"""


def by_browser(text: str, width: int, *, dark: bool) -> Laid:
    """By a headless browser: how far the page reaches, its console, the colours it computes."""
    browser = _browser()
    assert browser is not None
    page = json.dumps(text).replace("</", "<\\/")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "measure.html"
        path.write_text(MEASURE.format(width=width, page=page), encoding="utf-8")
        done = subprocess.run(
            [
                browser,
                *("--headless", "--no-sandbox", "--disable-gpu", "--enable-logging=stderr"),
                *(f"--user-data-dir={folder}/profile", f"--window-size={width + 200},1000"),
                *(["--blink-settings=preferredColorScheme=0"] if dark else []),
                *("--virtual-time-budget=10000", "--dump-dom", path.as_uri()),
            ],
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        )
    found = re.search(r"LAID(.*)END", done.stdout, re.DOTALL)
    assert found, done.stdout[-500:]
    seen = json.loads(found[1].replace("&gt;", ">").replace("&lt;", "<").replace("&amp;", "&"))
    said = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    return Laid(seen["outside"], said, _computed(seen["paper"]), _computed(seen["ink"]))


def _computed(colour: str) -> tuple[float, float, float]:
    red, green, blue = (float(n) / 255.0 for n in re.findall(r"[\d.]+", colour)[:3])
    return red, green, blue
