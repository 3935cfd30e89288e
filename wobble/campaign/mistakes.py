"""The usual mistakes in data and scenarios, and what undoes each.

In: measurements of one kind between the same ends, with the model that they are held against
(`Case`). Out: every usual mistake that they may suffer from (`usual_mistakes`): its name, a
sentence, and the same case without it.

The list is common practice, no source: times in another scale, tags of another event, values
with the other sign, in other units or for the other number of ways, hertz converted with
another ratio or band, coordinates with the other sign or exchanged, names of other ends.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import permutations
from typing import Any

import erfa
import numpy as np
from astropy.time import TimeDelta
from numpy.typing import ArrayLike, NDArray

from wobble.constants import GPS_MINUS_TAI, SPEED_OF_LIGHT, TT_MINUS_TAI
from wobble.errors import InputError
from wobble.estimation.parameters import ParameterSet
from wobble.link.bands import TURNAROUND
from wobble.link.network import Network
from wobble.measurements.kinds import Kind, kind_named
from wobble.measurements.tracking import Tracking

__all__ = ["Case", "Mistake", "usual_mistakes"]

Array = NDArray[np.float64]

AHEAD_OF_TAI = {"GPS time": GPS_MINUS_TAI, "TAI": 0.0, "TT": TT_MINUS_TAI}
"""Of time scales that go with TAI, s."""
UPLINK_CHANNELS = {"S": 221, "X": 749, "Ka": 3599}
"""Uplink frequencies of a channel, in the proportions of CCSDS 401.0-B."""
GRS80 = 2  # the ellipsoid's number in the SOFA library
DISTANCES, SPEEDS = ("kilometres", "metres", "millimetres"), ("km/s", "m/s", "mm/s")
WAYS = ("two-way", "one-way")


@dataclass(frozen=True, eq=False)
class Case:
    """Measurements, and the model that they are held against.

    Parameters
    ----------
    network : Network
    tracking : Tracking
        All of one kind, between the same ends and with the same tag.
    parameters : ParameterSet
        Those estimated, about their a priori values.
    """

    network: Network
    tracking: Tracking
    parameters: ParameterSet

    @property
    def kind(self) -> Kind:
        """What was measured."""
        return kind_named(str(self.tracking.kind[0]))

    def with_data(self, **columns: Any) -> Case:
        """The same case with other columns of the measurements."""
        return replace(self, tracking=replace(self.tracking, **columns))

    def shifted(self, seconds: ArrayLike) -> Case:
        """The same case with later time tags."""
        return self.with_data(epoch=self.tracking.epoch + TimeDelta(seconds, format="sec"))

    def renamed(self, name: str, other: str, *columns: str) -> Case:
        """The same case with another name in some columns."""
        old = {column: getattr(self.tracking, column) for column in columns}
        return self.with_data(**{c: np.where(v == name, other, v) for c, v in old.items()})

    def moved(self, end: str, position: Array) -> Case:
        """The same case with an end, such as ``lander.NAME``, at another place (body-fixed, m)."""
        values = {f"{end}.{axis}": float(x) for axis, x in zip("xyz", position, strict=True)}
        parameters = self.parameters
        for name in set(values).intersection(parameters.names):
            parameters = parameters.changed(name, value=values[name])
        return replace(self, network=self.network.with_values(values), parameters=parameters)


@dataclass(frozen=True, eq=False)
class Mistake:
    """What may be wrong with a case.

    Attributes
    ----------
    name : str
        The same for the same mistake in other measurements.
    sentence : str
        For people.
    undone : Case
        As it would be without the mistake.
    """

    name: str
    sentence: str
    undone: Case


def usual_mistakes(case: Case) -> Iterator[Mistake]:
    """Every usual mistake that can be undone in these measurements or their scenario."""
    yield from _time_scales(case)
    yield from _tags(case)
    yield from _values(case)
    if case.kind.counted and case.kind.ways == 2:
        yield from _conversions(case)
    yield from _places(case)
    yield from _names(case)


def _time_scales(case: Case) -> Iterator[Mistake]:
    """Times of one scale that were read as those of another."""
    epoch = case.tracking.epoch
    tai = epoch.tai
    leap = np.round(((tai.jd1 - epoch.jd1) + (tai.jd2 - epoch.jd2)) * 86400.0)
    ahead = {"UTC": -leap, **{name: np.full(len(epoch), s) for name, s in AHEAD_OF_TAI.items()}}
    for given, taken in permutations(ahead, 2):
        late = ahead[given] - ahead[taken]
        size = float(np.median(late))
        yield Mistake(
            f"{given} for {taken}",
            f"times are {abs(size):g} s {'late' if size > 0 else 'early'}: {given} taken for "
            f"{taken}",
            case.shifted(-late),
        )


def _tags(case: Case) -> Iterator[Mistake]:
    """Time tags of another event than the table's (`wobble.measurements.tracking`)."""
    kind, tracking = case.kind, case.tracking
    if not kind.counted:
        for tag, event in (("transmit", "transmission"), ("receive", "reception")):
            if tracking.tag[0] != tag:
                yield Mistake(
                    f"tag at {event}",
                    f"times are those of {event}, and not of what the data say",
                    case.with_data(tag=np.full(len(tracking), tag)),
                )
        return
    if kind.ways == 2:
        yield Mistake(
            "tag at transmission",
            "times are those of transmission, and not of reception",
            case.shifted(_round_trip_of_sent(case)),
        )
    half = tracking.count_time / 2.0
    for name, sentence, later in (
        ("tag at start", "times are those of the start of the count, and not of its middle", half),
        ("tag at end", "times are those of the end of the count, and not of its middle", -half),
        ("start for end", "times of the start of the count were taken for its end", 2 * half),
        ("end for start", "times of the end of the count were taken for its start", -2 * half),
    ):
        yield Mistake(name, sentence, case.shifted(later))


def _round_trip_of_sent(case: Case) -> Array:
    """Round trip of signals that are sent at the tags, s, shape (n,)."""
    n = len(case.tracking)
    sent = case.with_data(
        kind=np.full(n, "range"),
        tag=np.full(n, "transmit"),
        count_time=np.full(n, np.nan),
        value=np.zeros(n),
    )
    return case.network.compute(sent.tracking).round_trip


def _values(case: Case) -> Iterator[Mistake]:
    """Values with the other sign, for the other number of ways, in another unit."""
    is_range, what = not case.kind.counted, f"{case.kind.label}s"
    whole, part = ("the whole round trip", "half the round trip") if is_range else WAYS
    large, right, small = DISTANCES if is_range else SPEEDS
    if not is_range:
        yield from _scaled(case, "sign", f"{what} have the other sign", -1.0)
    for name, sentence, factor in (
        ("whole for half", f"are {whole}, taken for {part}", 0.5),
        ("half for whole", "were halved once too often", 2.0),
        (large, f"are in {large}, taken for {right}", 1e3),
        (small, f"are in {small}, taken for {right}", 1e-3),
    ):
        yield from _scaled(case, name, f"{what} {sentence}", factor)


def _scaled(case: Case, name: str, sentence: str, factor: float) -> Iterator[Mistake]:
    yield from _revalued(case, name, sentence, case.tracking.value * factor)


def _revalued(case: Case, name: str, sentence: str, value: Array) -> Iterator[Mistake]:
    """A mistake in the values, unless what they would be is none of their kind."""
    try:
        yield Mistake(name, sentence, case.with_data(value=value))
    except InputError:
        return


def _conversions(case: Case) -> Iterator[Mistake]:
    """Hertz that became m/s with the ratio or the band of another link.

    A shift of the received frequency is ``-2 v/c`` times the turnaround ratio M times the uplink.
    A ratio K in place of M makes the range rates M/K times what they are if shifts were converted,
    and ``1 - 2v/c`` so many times if frequencies were.
    """
    turnaround = case.network.media.turnaround
    ratios = {str(ratio): float(ratio) for ratio in TURNAROUND.values()} | {"1": 1.0}
    named = [text for text, ratio in ratios.items() if np.isclose(ratio, turnaround, rtol=1e-9)]
    own = named[0] if named else f"{turnaround:.6g}"
    received = 1.0 - 2.0 * case.tracking.value / SPEED_OF_LIGHT
    for text, ratio in ratios.items():
        for used, true, k in ((text, own, ratio / turnaround), (own, text, turnaround / ratio)):
            if text == own:
                continue
            yield from _scaled(
                case,
                f"turnaround {used} for {true}",
                f"hertz became m/s with the turnaround ratio {used} in place of {true}",
                k,
            )
            yield from _revalued(
                case,
                f"nominal frequency by {used} for {true}",
                f"frequencies were compared with the uplink times {used} in place of {true}",
                (1.0 - received * k) * SPEED_OF_LIGHT / 2.0,
            )
    for used, true in permutations(UPLINK_CHANNELS, 2):
        yield from _scaled(
            case,
            f"{used} band for {true} band",
            f"hertz became m/s with the frequency of {used} band in place of {true} band",
            UPLINK_CHANNELS[used] / UPLINK_CHANNELS[true],
        )


def _places(case: Case) -> Iterator[Mistake]:
    """Coordinates of the lander or the station with the other sign, or exchanged."""
    network, tracking, body = case.network, case.tracking, case.network.body
    lander, station = str(tracking.lander[0]), str(tracking.receiver[0])
    place = network.landers[lander].position
    longitude, latitude, height = body.geodetic(place)
    exchanged = body.from_geodetic(latitude, longitude, height)
    yield from _wrong_places(case, "lander", lander, place, longitude, exchanged)
    if tracking.transmitter[0] == station:
        place = network.stations[station].station.position
        longitude, latitude, height = erfa.gc2gd(GRS80, place)
        if abs(longitude) <= np.pi / 2:
            exchanged = erfa.gd2gc(GRS80, latitude, longitude, height)
        yield from _wrong_places(case, "station", station, place, longitude, exchanged)


def _wrong_places(
    case: Case, what: str, name: str, place: Array, longitude: float, exchanged: Array
) -> Iterator[Mistake]:
    end, who = f"{what}.{name}", f"of {what} {name}"
    for mistake, sentence, position in (
        ("west longitude", "is west, taken for east, or the reverse", place * (1, -1, 1)),
        ("sign of latitude", "has the other sign", place * (1, 1, -1)),
    ):
        quantity = "longitude" if "longitude" in mistake else "latitude"
        yield Mistake(
            f"{mistake} {who}", f"the {quantity} {who} {sentence}", case.moved(end, position)
        )
    if abs(longitude) <= np.pi / 2:
        yield Mistake(
            f"latitude for longitude {who}",
            f"latitude and longitude {who} are exchanged",
            case.moved(end, exchanged),
        )


def _names(case: Case) -> Iterator[Mistake]:
    """Names of other stations and landers, in this case alone or the two exchanged."""
    receiver, lander = str(case.tracking.receiver[0]), str(case.tracking.lander[0])
    for other in case.network.stations:
        if other != receiver:
            undone = case.renamed(receiver, other, "transmitter", "receiver")
            yield from _wrong_name("station", receiver, other, undone)
    if case.kind.ways == 2:
        for other in case.network.landers:
            if other != lander:
                undone = case.renamed(lander, other, "lander")
                yield from _wrong_name("lander", lander, other, undone)


def _wrong_name(what: str, name: str, other: str, undone: Case) -> Iterator[Mistake]:
    yield Mistake(
        f"{other} named {name}",
        f"what is named {what} {name} belongs to {other}",
        undone,
    )
    first, second = sorted((name, other))
    yield Mistake(
        f"{first} and {second} exchanged",
        f"the names of the {what}s {first} and {second} are exchanged",
        undone,
    )
