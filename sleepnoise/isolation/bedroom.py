"""The bedroom as it stands: size, absorption, and its parts with their gaps."""

from dataclasses import dataclass

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.source import Source
from sleepnoise.errors import SettingsError
from sleepnoise.fieldwork.field import absorption_area_m2
from sleepnoise.fieldwork.reverberation_index import reverberation_in_thirds_s
from sleepnoise.isolation.elements import (
    KEYS_REMEDY,
    Element,
    alike_text,
    shipped_elements,
    thirds_from_octaves,
)
from sleepnoise.profiles.bedroom import (
    AirEntry,
    AlarmEntry,
    Answer,
    BedroomProfile,
    Edge,
    GapEntry,
    HomeEntry,
    PartEntry,
    Seal,
    Side,
    What,
)

WIDTH_BY_TEST_M: dict[Seal, float] = {"none": 3e-3, "partly": 1e-3, "tight": 3e-4}
"""Width of a gap by its paper and light test. Chosen: no document links the two; a sheet of card slides
through 1.6 mm, which is also what handbooks draw round a usual door; a good seal leaves 0.2 to 0.5 mm."""

DEPTH_M = 0.04
"""Way through a gap where thickness is not known. Chosen: the thickness of a usual door leaf."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One edge that may leak.

    Attributes
    ----------
    edge : Edge
    length_m, width_m : float, m
    measured : bool
        Whether the width was measured, not estimated from the paper and light test.
    """

    edge: Edge
    length_m: float
    width_m: float
    measured: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One door, window, wall, floor, ceiling or vent.

    Attributes
    ----------
    key, title : str
    what : What
    behind : Side
    element : Element
        Always with a spectrum.
    area_m2 : float, m²
        0 for small elements.
    depth_m : float, m
    open_area_m2 : float, m²
        Of a window or door that stands open.
    gaps : tuple of Gap
    rated_fire_door, escape_window, carries_heavy_leaf : Answer
    """

    key: str
    title: str
    what: What
    behind: Side
    element: Element
    area_m2: float
    depth_m: float
    open_area_m2: float
    gaps: tuple[Gap, ...]
    rated_fire_door: Answer
    escape_window: Answer
    carries_heavy_leaf: Answer


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bedroom:
    """One room and what is known about it.

    Attributes
    ----------
    title : str
    volume_m3 : float, m³
    absorption_m2 : ndarray, shape (31,), m²
    parts : tuple of Part
    air : AirEntry
    home : HomeEntry
    alarm : AlarmEntry
    prices : dict
        The user's own price of a treatment, by its name.
    currency : str
    """

    title: str
    volume_m3: float
    absorption_m2: FloatArray
    parts: tuple[Part, ...]
    air: AirEntry
    home: HomeEntry
    alarm: AlarmEntry
    prices: dict[str, float]
    currency: str


def bedroom_from_profile(profile: BedroomProfile) -> Bedroom:
    """Return the room that a room file describes.

    Raises
    ------
    SettingsError
        If a part cannot be computed: every such mistake is named.
    """
    mistakes = [mistake for entry in profile.part for mistake in _mistakes(entry)]
    if mistakes:
        raise SettingsError(
            "room: " + "; ".join(mistakes) + ".",
            remedy=f"Mend the parts named above; {KEYS_REMEDY}",
        )
    volume_m3 = profile.length_m * profile.width_m * profile.height_m
    return Bedroom(
        title=profile.title,
        volume_m3=volume_m3,
        absorption_m2=absorption_area_m2(
            volume_m3,
            reverberation_in_thirds_s(
                volume_m3, profile.furnishing, profile.reverberation_s, profile.reverberation_by_hz
            ),
        ),
        parts=tuple(_part(entry) for entry in profile.part),
        air=profile.air,
        home=profile.home,
        alarm=profile.alarm,
        prices=dict(profile.prices),
        currency=profile.currency or "",
    )


def _mistakes(entry: PartEntry) -> list[str]:
    """Return what is wrong with a part beside what its file model checks."""
    place = f"part {entry.key}"
    element = _element(entry)
    if element is None:
        wanted = entry.construction or ""
        return [f"{place}: construction {wanted!r:.80} is not known{alike_text(wanted)}"]
    if element.insulation is None:
        return [f"{place}: of {element.key} only {element.single} is known, and a spectrum is needed"]
    mistakes = []
    if element.small == (entry.area_m2 is not None):
        needs = "counts re 10 m², so it takes no area_m2" if element.small else "needs area_m2"
        mistakes.append(f"{place}: {element.key} {needs}")
    if element.as_hung and entry.gap:
        mistakes.append(
            f"{place}: the values of {element.key} hold ordinary gaps already; leave out its gaps, or choose "
            "a leaf measured in a laboratory"
        )
    return mistakes


def _element(entry: PartEntry) -> Element | None:
    if entry.construction is not None:
        return shipped_elements().get(entry.construction)
    return Element(
        key=entry.key,
        title=entry.title,
        insulation=thirds_from_octaves(entry.octaves_by_hz),
        small=False,
        as_hung=False,
        thickness_m=None,
        mass_kg_per_m2=None,
        single="",
        spread_db=None,
        source=Source(document=entry.data_from, place="given in the room file", how_known="looked-up"),
        note="",
    )


def _part(entry: PartEntry) -> Part:
    element = _element(entry)
    assert element is not None
    depth_m = (element.thickness_m or DEPTH_M) if entry.depth_mm is None else entry.depth_mm / 1000.0
    return Part(
        key=entry.key,
        title=entry.title,
        what=entry.what,
        behind=entry.behind,
        element=element,
        area_m2=entry.area_m2 or 0.0,
        depth_m=depth_m,
        open_area_m2=entry.open_area_m2,
        gaps=tuple(map(_gap, entry.gap)),
        rated_fire_door=entry.rated_fire_door,
        escape_window=entry.escape_window,
        carries_heavy_leaf=entry.carries_heavy_leaf,
    )


def _gap(entry: GapEntry) -> Gap:
    # A measured width tells more than a test that only says whether a seal works.
    measured = entry.width_mm is not None
    width_m = entry.width_mm / 1000.0 if entry.width_mm is not None else WIDTH_BY_TEST_M[entry.seal or "none"]
    return Gap(edge=entry.edge, length_m=entry.length_m, width_m=width_m, measured=measured)
