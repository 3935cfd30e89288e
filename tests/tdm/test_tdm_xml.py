"""CCSDS Tracking Data Message in XML, and the independent reader and writer of the standard."""

import contextlib
import gzip
import itertools
from pathlib import Path

import pytest
from ccsds_ndm.mapping import NDMFileFormats
from ccsds_ndm.ndm_io import NdmIo
from hypothesis import given, settings
from hypothesis import strategies as st

from wobble.errors import InputError
from wobble.tdm.keywords import DATA, METADATA
from wobble.tdm.kvn import kvn_text, read_kvn, read_tdm
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.tdm.xml import read_xml, write_xml, xml_text

ANNEX = Path(__file__).parents[1] / "data" / "tdm"
SAMPLE = read_kvn(ANNEX / "two_way_range_ramped.kvn")


def read(tmp_path: Path, content: str | bytes) -> TrackingDataMessage:
    path = tmp_path / "file.xml"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_tdm(path)


@pytest.mark.parametrize("path", sorted(ANNEX.iterdir()), ids=lambda path: path.stem)
def test_both_notations_say_the_same(tmp_path, path):
    message = read_kvn(path)
    assert read(tmp_path, xml_text(message)) == message


def test_signs_of_xml_in_texts_are_kept(tmp_path):
    message = read_kvn(ANNEX / "two_way_range_ramped.kvn")
    message.comments = ["a < b & c > d", "]]>", 'é "quoted"']
    message.segments[0].metadata["PARTICIPANT_2"] = "<A&B>"
    write_xml(tmp_path / "file.xml", message)
    assert read_xml(tmp_path / "file.xml") == message


def test_comments_keep_their_blanks_and_lose_their_line_breaks(tmp_path):
    # In the other notation a comment is one line, with whatever blanks are in it.
    message = read_kvn(ANNEX / "two_way_range_ramped.kvn")
    message.comments = ["two  blanks"]
    message.segments[0].data_comments = ["a   table of  words"]
    assert read(tmp_path, xml_text(message)) == message
    text = xml_text(message).replace("two  blanks", "two\n    lines\u00a0and a\tbreak")
    assert read(tmp_path, text).comments == ["two lines and a break"]


# The independent reader and writer of the standard (package ccsds-ndm).


def everything(modes: tuple[str, ...], units: str, version: str) -> TrackingDataMessage:
    """A message with one record of each data keyword in one segment for each mode."""
    message = TrackingDataMessage(version)
    message.head("CREATION_DATE", "2030-060T01:02:03")
    message.head("ORIGINATOR", "EXAMPLE")
    message.comments.append("a comment of the header")
    values = {
        "PARTICIPANT_1": "A", "PARTICIPANT_2": "B", "PARTICIPANT_3": "C", "PATH": "1,2,3",
        "PATH_1": "1,2", "PATH_2": "1,3", "TIME_SYSTEM": "UTC", "RANGE_UNITS": units,
        "START_TIME": "2030-03-01T00:00:00", "STOP_TIME": "2030-03-02T00:00:00.5",
        "TIMETAG_REF": "RECEIVE", "INTEGRATION_REF": "MIDDLE", "RANGE_MODE": "COHERENT",
        "ANGLE_TYPE": "AZEL", "REFERENCE_FRAME": "ICRF", "DATA_QUALITY": "VALIDATED",
        "DOPPLER_COUNT_ROLLOVER": "NO", "CORRECTIONS_APPLIED": "NO",
        "TURNAROUND_NUMERATOR": "880", "TURNAROUND_DENOMINATOR": "749",
    }  # fmt: skip
    texts = ("TRACK_ID", "DATA_TYPES", "EPHEMERIS_NAME", "TRANSMIT_BAND", "RECEIVE_BAND")
    for mode in modes:
        segment = Segment(comments=["of the metadata"], data_comments=["of the data"])
        for keyword, rule in METADATA.items():
            single = keyword in ("PATH_1", "PATH_2")
            if rule.since > version or ("PATH" in keyword and single != (mode == "SINGLE_DIFF")):
                continue
            if keyword in ("PARTICIPANT_4", "PARTICIPANT_5"):
                continue
            default = "text" if keyword.startswith(texts) or keyword == "INTERPOLATION" else "3"
            value = mode if keyword == "MODE" else values.get(keyword, default)
            segment.describe(keyword, value)
        for k, (keyword, rule) in enumerate(DATA.items()):
            if rule.since <= version:
                segment.add(keyword, f"2030-03-01T00:00:{k:02d}.25", f"{k + 1}.0625")
        message.segments.append(segment)
    return message


def meaning(message: TrackingDataMessage) -> list:
    """Everything in a message, numbers as numbers."""

    def number(text: str) -> object:
        try:
            return float(text)
        except ValueError:
            return text

    return [
        message.version,
        message.header,
        message.comments,
        [
            (
                segment.comments,
                {key: number(text) for key, text in segment.metadata.items()},
                segment.data_comments,
                segment.keywords,
                segment.tags,
                [float(text) for text in segment.values],
            )
            for segment in message.segments
        ],
    ]


CASES = list(
    itertools.product(
        [("SEQUENTIAL",), ("SINGLE_DIFF",), ("SEQUENTIAL", "SINGLE_DIFF")],
        ["km", "s", "RU"],
        ["1.0", "2.0"],
        ["KVN", "XML"],
    )
)


@pytest.mark.parametrize(("modes", "units", "version", "notation"), CASES)
def test_the_independent_reader_understands_what_is_written(
    tmp_path, modes, units, version, notation
):
    message = everything(modes, units, version)
    text = kvn_text(message) if notation == "KVN" else xml_text(message)
    theirs = NdmIo().from_string(text)
    segments = theirs.body.segment
    assert len(segments) == len(modes)
    for segment, ours in zip(segments, message.segments, strict=True):
        for keyword, expected in ours.metadata.items():
            value = getattr(segment.metadata, keyword.lower())
            value = getattr(value, "value", value)
            assert type(value)(expected) == value
        assert len(segment.data.observation) == len(ours.keywords)
        for observation, keyword, tag, expected in zip(
            segment.data.observation, ours.keywords, ours.tags, ours.values, strict=True
        ):
            value = getattr(observation, keyword.lower())
            assert getattr(value, "value", value) == float(expected)
            assert observation.epoch == tag


@pytest.mark.parametrize(("modes", "units", "version", "notation"), CASES)
def test_what_the_independent_writer_writes_is_understood(
    tmp_path, modes, units, version, notation
):
    message = everything(modes, units, version)
    theirs = NdmIo().from_string(kvn_text(message))
    text = NdmIo().to_string(theirs, getattr(NDMFileFormats, notation))
    assert meaning(read(tmp_path, text)) == meaning(message)


# Bad input.


def test_entities_and_references_to_files_are_refused(tmp_path):
    text = xml_text(SAMPLE)
    bomb = (
        '<!DOCTYPE tdm [<!ENTITY a "aaaaaaaaaa">'
        + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in itertools.pairwise("abcdefghij"))
        + "]>\n<tdm"
    )
    outside = '<!DOCTYPE tdm [<!ENTITY a SYSTEM "file:///etc/hostname">]>\n<tdm'
    for start in (bomb, outside, '<!DOCTYPE tdm SYSTEM "http://example.org/x.dtd">\n<tdm'):
        with pytest.raises(InputError, match="document type declaration"):
            read(tmp_path, text.replace("<tdm", start, 1).replace("EXAMPLE", "&j;"))
    with pytest.raises(InputError, match="not well-formed"):
        read(tmp_path, text.replace("EXAMPLE", "&a;"))


def test_encodings_are_those_that_the_file_declares(tmp_path):
    message = read_kvn(ANNEX / "two_way_range_ramped.kvn")
    message.segments[0].metadata["PARTICIPANT_2"] = "é"
    text = xml_text(message)
    for encoding in ("UTF-8", "ISO-8859-1", "UTF-16"):
        content = text.replace('"UTF-8"', f'"{encoding}"').encode(encoding)
        assert read(tmp_path, content) == message
    assert read(tmp_path, gzip.compress(text.encode())) == message
    with pytest.raises(InputError, match=r"not well-formed|decoded"):
        read(tmp_path, text.encode("ISO-8859-1"))
    with pytest.raises(InputError, match=r"not well-formed|decoded"):
        read(tmp_path, text.replace('"UTF-8"', '"no-such-code"'))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('version="2.0"', 'version="3.0"', "line 2: CCSDS_TDM_VERS: unknown version"),
        ('version="2.0"', "", "line 2: CCSDS_TDM_VERS: unknown version"),
        ("tdm", "oem", "line 2: not a tracking data message"),
        ("<ORIGINATOR>EXAMPLE</ORIGINATOR>", "", "ORIGINATOR: the header lacks"),
        ("RANGE_UNITS>", "RANGE_UNIT>", "line 20: unknown element in metadata"),
        ("<RANGE_UNITS>RU", "<RANGE_UNITS>miles", "line 20: RANGE_UNITS: wrong value"),
        ("39242998.5151986", "nan", "line 25: RANGE: wrong value"),
        ("<RANGE>39242998.5151986", '<RANGE units="km">39242998.5', "line 25: RANGE: the unit"),
        ("<RANGE>39242998.5151986</RANGE>", "", "line 25: an observation without a value"),
        ("<EPOCH>2005-191T00:31:51</EPOCH>", "", "line 23: .*an observation starts with its epoch"),
        ("<EPOCH>2005-191T00:31:51", "<EPOCH>2005-191", "line 23: EPOCH: not a calendar"),
        ("<data>", "<data>text", "line 23: text between elements"),
        ("<RANGE>3", "<RANGE><RANGE/>3", "line 25: RANGE: the element has elements in it"),
        ("</tdm>", "", "not well-formed"),
        ("</tdm>", "</tdm><tdm/>", "not well-formed"),
        ("<PATH>1,2,1</PATH>", "", "line 22: PATH: mode SEQUENTIAL needs a path"),
    ],
)
def test_broken_files_are_refused_with_line_and_keyword(tmp_path, old, new, words):
    text = xml_text(SAMPLE)
    assert old in text
    count = -1 if old == "tdm" or old.endswith("S>") else 1
    with pytest.raises(InputError, match=words) as caught:
        read(tmp_path, text.replace(old, new, count))
    assert caught.value.source == str(tmp_path / "file.xml")


def test_units_of_the_standard_may_be_stated(tmp_path):
    message = everything(("SEQUENTIAL",), "km", "2.0")
    text = xml_text(message).replace("<PRESSURE>", '<PRESSURE units="hPa">')
    assert read(tmp_path, text) == message


def test_a_message_may_stand_in_a_set_of_messages(tmp_path):
    text = xml_text(SAMPLE).replace("<tdm", "<ndm><tdm").replace("</tdm>", "</tdm></ndm>")
    assert read(tmp_path, text) == SAMPLE
    twice = text.replace("</ndm>", text[text.index("<tdm") :])
    with pytest.raises(InputError, match="a second message"):
        read(tmp_path, twice)


def test_a_file_cut_anywhere_is_refused(tmp_path):
    content = xml_text(SAMPLE).encode().rstrip()
    for cut in range(0, len(content), 7):
        with pytest.raises(InputError):
            read(tmp_path, content[:cut])


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_changed_bytes_never_raise_anything_but_an_input_error(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "mutant.xml"
    content = bytearray(xml_text(SAMPLE).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(content)
    with contextlib.suppress(InputError):
        xml_text(read_tdm(path))
