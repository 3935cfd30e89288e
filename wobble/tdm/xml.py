"""CCSDS Tracking Data Message in XML, read and written.

In: a file, plain or gzip-compressed. Out: `TrackingDataMessage` with the text of every
number as the file has it, and XML again.

The file is read as a stream of events in one pass. A document type declaration is refused
before anything is made of it: with it go expanding entities and references to other files.
Units may stand as attributes where they are those of the standard; others are refused.
Source: CCSDS 503.0-B-2 (2020), section 5, and CCSDS 505.0-B (XML specification for
navigation data messages).
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from xml.parsers import expat
from xml.sax.saxutils import escape

from wobble.errors import InputError
from wobble.tdm.keywords import DATA, HEADER, METADATA
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.text.atomic import write_atomically
from wobble.text.lines import Line, read_bytes

__all__ = ["read_xml", "write_xml", "xml_text"]

Path = str | os.PathLike[str]
CHUNK = 65_536
LONGEST_TEXT = 65_536
# A comment may be broken into lines; blanks within a line are kept, as in the other notation.
BREAK = re.compile(r"\s*[^\S ]\s*")
# Where an element may stand: the names of those around it.
SECTIONS = {
    ("tdm",): "message",
    ("tdm", "header"): "header",
    ("tdm", "body"): "body",
    ("tdm", "body", "segment"): "segment",
    ("tdm", "body", "segment", "metadata"): "metadata",
    ("tdm", "body", "segment", "data"): "data",
    ("tdm", "body", "segment", "data", "observation"): "observation",
}
LEAVES = {"header": HEADER, "metadata": METADATA, "observation": DATA}


def read_xml(path: Path) -> TrackingDataMessage:
    """Read a message in XML.

    Raises
    ------
    InputError
        If the file cannot be read, is cut off, is no XML, has a document type declaration, or
        is no message of the standard.
    """
    return _Reader(os.fspath(path)).read()


def xml_text(message: TrackingDataMessage) -> str:
    """The message in XML.

    Raises
    ------
    InputError
        If the message is not complete, or its version of the standard lacks a keyword.
    """
    message.check()
    return "\n".join(_written_lines(message)) + "\n"


def write_xml(path: Path, message: TrackingDataMessage) -> None:
    """Write a message in XML, whole or not at all.

    Raises
    ------
    InputError
        As for `xml_text`, and if the file cannot be written.
    """
    write_atomically(path, xml_text(message))


class _Reader:
    """Makes a message of the events of one file."""

    def __init__(self, source: str) -> None:
        self.message = TrackingDataMessage(source=source)
        self.segment = Segment()
        self.open: list[str] = []
        self.text: list[str] = []
        self.length = 0
        self.epoch = ""
        self.before = 0
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartDoctypeDeclHandler = self.refuse_doctype
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.characters

    def read(self) -> TrackingDataMessage:
        try:
            with read_bytes(self.message.source) as file:
                while chunk := file.read(CHUNK):
                    self.parser.Parse(chunk, False)
                self.parser.Parse(b"", True)
        except expat.ExpatError as error:
            raise self.line.error(f"not well-formed XML ({error})") from error
        except (ValueError, LookupError) as error:  # an encoding that it does not know
            raise self.line.error(f"cannot be decoded ({error})") from error
        if not self.message.segments:
            raise InputError("the message has no segment", source=self.message.source)
        return self.message

    @property
    def line(self) -> Line:
        return Line(self.message.source, max(self.parser.CurrentLineNumber, 1), "")

    @property
    def section(self) -> str | None:
        """The section that the innermost open element is, if it is one."""
        # A message may stand alone or within a set of navigation messages.
        path = self.open[1:] if self.open[:1] == ["ndm"] else self.open
        return SECTIONS.get(tuple(path))

    def refuse_doctype(self, *_: object) -> None:
        raise self.line.error("a document type declaration is not taken", found="<!DOCTYPE")

    def characters(self, text: str) -> None:
        self.length += len(text)
        if self.length > LONGEST_TEXT:
            raise self.line.error("the text of an element is endless")
        self.text.append(text)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.no_text_between()
        name = name.rpartition(":")[2]
        parent = self.section
        if parent is None and self.open and self.open != ["ndm"]:
            raise self.line.error("the element has elements in it", self.open[-1], found=name)
        self.open.append(name)
        section = self.section
        if section == "message":
            self.start_message(attributes)
        elif section == "segment":
            self.segment = Segment(source=self.message.source)
        elif section == "metadata" and self.segment.keywords:
            raise self.line.error("the metadata stand after the data")
        elif section == "data":
            self.segment.check_metadata(self.line)
        elif section == "observation":
            self.epoch, self.before = "", len(self.segment.keywords)
        elif section is None:
            self.start_leaf(parent, name, attributes)

    def start_message(self, attributes: dict[str, str]) -> None:
        if self.message.header:
            raise self.line.error("a second message in the file")
        self.message.set_version(attributes.get("version", "none"), self.line)

    def start_leaf(self, parent: str | None, name: str, attributes: dict[str, str]) -> None:
        if parent is None:
            if name != "ndm":
                raise self.line.error("not a tracking data message", found=name, expected="tdm")
            return
        known = LEAVES.get(parent, {})
        comment = name == "COMMENT" and parent in ("header", "metadata", "data")
        epoch = name == "EPOCH" and parent == "observation"
        if name not in known and not comment and not epoch:
            raise self.line.error(
                f"unknown element in {parent}", found=name, expected=f"one of {', '.join(known)}"
            )
        unit = attributes.get("units")
        if unit is not None and (name not in known or unit != known[name].unit):
            raise self.line.error(
                "the unit is not that of the standard",
                name,
                found=unit,
                expected=known[name].unit or "no unit" if name in known else "no unit",
            )

    def end(self, _: str) -> None:
        section, name = self.section, self.open.pop()
        if section is None:
            if self.open:
                self.end_leaf(name)
        else:
            self.no_text_between()
            self.end_section(section)

    def end_section(self, section: str) -> None:
        line = self.line
        if section == "header":
            self.message.check_header(line)
        elif section == "segment":
            self.segment.check_metadata(line)
            if not self.segment.keywords:
                raise line.error("a segment has no data")
            self.message.segments.append(self.segment)
        elif section == "message":
            self.message.check_header(line)
        elif section == "observation" and len(self.segment.keywords) == self.before:
            raise line.error("an observation without a value")

    def end_leaf(self, name: str) -> None:
        text, line, parent = self.taken_text(), self.line, self.section
        if name == "COMMENT":
            self.comments(parent).append(BREAK.sub(" ", text))
        elif parent == "header":
            self.message.head(name, text, line)
        elif parent == "metadata":
            self.segment.describe(name, text, line)
        elif name == "EPOCH":
            if self.epoch:
                raise line.error("the keyword is given twice", name, found=text)
            self.segment.parse_tag(text, line, name)
            self.epoch = text
        elif not self.epoch:
            raise line.error("an observation starts with its epoch", name)
        else:
            self.segment.add(name, self.epoch, text, line)

    def comments(self, parent: str | None) -> list[str]:
        if parent == "header":
            return self.message.comments
        return self.segment.comments if parent == "metadata" else self.segment.data_comments

    def taken_text(self) -> str:
        text = "".join(self.text).strip()
        self.text.clear()
        self.length = 0
        return text

    def no_text_between(self) -> None:
        text = self.taken_text()
        if text:
            raise self.line.error("text between elements", found=text[:60])


def _written_lines(message: TrackingDataMessage) -> Iterator[str]:
    yield '<?xml version="1.0" encoding="UTF-8"?>'
    yield f'<tdm id="CCSDS_TDM_VERS" version="{message.version}">'
    yield "  <header>"
    yield from _elements("    ", message.comments, message.header, HEADER)
    yield "  </header>"
    yield "  <body>"
    for segment in message.segments:
        yield "    <segment>"
        yield "      <metadata>"
        yield from _elements("        ", segment.comments, segment.metadata, METADATA)
        yield "      </metadata>"
        yield "      <data>"
        yield from _elements("        ", segment.data_comments, {}, ())
        for record in zip(segment.keywords, segment.tags, segment.values, strict=True):
            name, tag, value = record
            yield (
                f"        <observation><EPOCH>{tag}</EPOCH>"
                f"<{name}>{escape(value)}</{name}></observation>"
            )
        yield "      </data>"
        yield "    </segment>"
    yield "  </body>"
    yield "</tdm>"


def _elements(
    indent: str, comments: list[str], given: dict[str, str], order: Iterable[str]
) -> Iterator[str]:
    for comment in comments:
        yield f"{indent}<COMMENT>{escape(comment)}</COMMENT>"
    for keyword in order:
        if keyword in given:
            yield f"{indent}<{keyword}>{escape(given[keyword])}</{keyword}>"
