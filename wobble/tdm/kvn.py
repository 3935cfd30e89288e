"""CCSDS Tracking Data Message, keyword = value notation, read and written.

In: a file, plain or gzip-compressed, of version 1 or 2 of the standard. Out:
`TrackingDataMessage`, and text again, with all digits. `read_tdm` also takes files in XML.

The file is read in one pass. Whatever is wrong in it is an `InputError` with file, line
and keyword. Comments are kept with their section; within a data section the standard has
them before the data, and there they are written.
Source: CCSDS 503.0-B-2 (2020), sections 3 and 4.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

from wobble.errors import InputError
from wobble.tdm.keywords import HEADER, METADATA
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.tdm.xml import read_xml
from wobble.text.atomic import write_atomically
from wobble.text.lines import Line, read_bytes, read_lines

__all__ = ["kvn_text", "read_kvn", "read_tdm", "write_kvn"]

Path = str | os.PathLike[str]
VERSION = "CCSDS_TDM_VERS"


def read_tdm(path: Path) -> TrackingDataMessage:
    """Read a message in either notation; a file whose first sign is ``<`` is XML.

    Raises
    ------
    InputError
        If the file cannot be read or is no message of the standard.
    """
    with read_bytes(path) as file:
        start = file.read(4096)
    xml = start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<") or start[:2] in UTF_16
    return read_xml(path) if xml else read_kvn(path)


UTF_16 = (b"\xff\xfe", b"\xfe\xff")


def read_kvn(path: Path) -> TrackingDataMessage:
    """Read a message in keyword = value notation.

    Raises
    ------
    InputError
        If the file cannot be read, is cut off, or is no message of the standard.
    """
    message = TrackingDataMessage(source=os.fspath(path))
    lines = _filled_lines(path)
    line = next(lines, None)
    if line is None:
        raise InputError("there is nothing in the file", source=path, expected=VERSION)
    keyword, value = _assignment(line)
    if keyword != VERSION:
        raise line.error("not a tracking data message", found=line.text, expected=VERSION)
    message.set_version(value, line)
    _read_header(message, lines)
    while True:
        segment = Segment(source=message.source)
        line = _read_metadata(segment, lines, message)
        _read_data(segment, lines, line)
        message.segments.append(segment)
        next_line = next(lines, None)
        if next_line is None:
            return message
        if next_line.text.strip() != "META_START":
            raise next_line.error("not the start of a segment", found=next_line.text)


def kvn_text(message: TrackingDataMessage) -> str:
    """The message in keyword = value notation.

    Raises
    ------
    InputError
        If the message is not complete, or its version of the standard lacks a keyword.
    """
    message.check()
    return "\n".join(_written_lines(message)) + "\n"


def write_kvn(path: Path, message: TrackingDataMessage) -> None:
    """Write a message in keyword = value notation, whole or not at all.

    Raises
    ------
    InputError
        As for `kvn_text`, and if the file cannot be written.
    """
    write_atomically(path, kvn_text(message))


def _filled_lines(path: Path) -> Iterator[Line]:
    """Lines that are not blank, with tabs as blanks."""
    for line in read_lines(path):
        text = line.text.replace("\t", " ").strip()
        if not text.isprintable():
            raise line.error("the line has a character that cannot be printed", found=text)
        if text:
            yield line if text == line.text else Line(line.source, line.number, text)


def _assignment(line: Line) -> tuple[str, str]:
    keyword, equals, value = line.text.partition("=")
    if not equals:
        raise line.error("not a line of the form keyword = value", found=line.text)
    keyword, value = keyword.strip(), value.strip()
    if not value:
        raise line.error("the keyword has no value", keyword)
    return keyword, value


def _comment(line: Line) -> str | None:
    word, _, rest = line.text.partition(" ")
    return rest.strip() if word == "COMMENT" else None


def _read_header(message: TrackingDataMessage, lines: Iterator[Line]) -> None:
    for line in lines:
        comment = _comment(line)
        if comment is not None:
            message.comments.append(comment)
        elif line.text == "META_START":
            message.check_header(line)
            return
        else:
            message.head(*_assignment(line), line)
    raise _cut_off(message.source, "META_START")


def _read_metadata(segment: Segment, lines: Iterator[Line], message: TrackingDataMessage) -> Line:
    for line in lines:
        comment = _comment(line)
        if comment is not None:
            segment.comments.append(comment)
        elif line.text == "META_STOP":
            segment.check_metadata(line)
            break
        else:
            segment.describe(*_assignment(line), line)
    else:
        raise _cut_off(message.source, "META_STOP")
    for line in lines:
        if line.text == "DATA_START":
            return line
        raise line.error("the data do not follow the metadata", None, line.text, "DATA_START")
    raise _cut_off(message.source, "DATA_START")


def _read_data(segment: Segment, lines: Iterator[Line], start: Line) -> None:
    for line in lines:
        keyword, _, rest = line.text.partition("=")
        fields = rest.split()
        if len(fields) == 2 and not keyword.startswith("COMMENT"):
            segment.add(keyword.rstrip(), fields[0], fields[1], line)
        elif (comment := _comment(line)) is not None:
            segment.data_comments.append(comment)
        elif line.text == "DATA_STOP":
            if not segment.keywords:
                raise start.error("a segment has no data")
            return
        else:
            raise line.error(
                "not a data record", found=line.text, expected="keyword = time tag and number"
            )
    raise _cut_off(segment.source, "DATA_STOP")


def _cut_off(source: str, missing: str) -> InputError:
    return InputError("the file is cut off", source=source, expected=missing)


def _written_lines(message: TrackingDataMessage) -> Iterator[str]:
    yield _written(VERSION, message.version)
    yield from _written_comments(message.comments)
    yield from (_written(key, message.header[key]) for key in HEADER if key in message.header)
    for segment in message.segments:
        yield "META_START"
        yield from _written_comments(segment.comments)
        given = segment.metadata
        yield from (_written(key, given[key]) for key in METADATA if key in given)
        yield "META_STOP"
        yield "DATA_START"
        yield from _written_comments(segment.data_comments)
        for record in zip(segment.keywords, segment.tags, segment.values, strict=True):
            yield _written(record[0], f"{record[1]} {record[2]}")
        yield "DATA_STOP"


def _written(keyword: str, value: str) -> str:
    return f"{keyword:<22} = {value}"


def _written_comments(comments: list[str]) -> Iterator[str]:
    return (f"COMMENT {comment}".rstrip() for comment in comments)
