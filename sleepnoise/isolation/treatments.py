"""Generic treatments, from ``profiles/treatments``: what each does to the paths of one part.

How well a treatment is known decides what is computed. Where the gaps of a part are known, seals
replace their widths and a new leaf its leaf; a layer hangs in series with all of it. Where a part is
only known as hung, gaps included, the insertion loss of the profile counts instead.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sleepnoise.acoustics.bands import mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, energy
from sleepnoise.acoustics.source import Source
from sleepnoise.errors import SettingsError
from sleepnoise.isolation.bedroom import Gap, Part
from sleepnoise.isolation.composite import gained_above, layer_insertion
from sleepnoise.isolation.elements import (
    KEYS_REMEDY,
    Element,
    alike_text,
    shipped_elements,
    thirds_from_octaves,
)
from sleepnoise.isolation.leaf import mass_air_mass_hz
from sleepnoise.isolation.paths import Path, RoomPaths, gap_open_m2
from sleepnoise.isolation.steps import IsolationStep, even_step, step_from_profile
from sleepnoise.profiles.bedroom import What
from sleepnoise.profiles.files import read_treatment, shipped_profiles
from sleepnoise.profiles.schema import CostClass, LayerEntry, SealsEntry, Touch, TreatmentProfile

EVEN_STEPS_DB = (0.0, 5.0, 10.0, 15.0, 20.0)
"""Chosen: from the room as it is to the most that a single measure at a door or window usually brings."""

UNKNOWN_MASS_KG_PER_M2 = 9.0
"""Mass of a leaf that is not known, before which a layer hangs. Chosen: the lightest usual door, whose
resonance with the layer lies highest."""

_SINGLE_PARTS: set[What] = {"door", "window"}
"""Parts whose treatments a plan without a room may weigh."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Treatment:
    """One generic treatment.

    Attributes
    ----------
    key, title, basis : str
    parts : tuple of What
        Parts of a room that it acts on.
    fits : tuple of str
        Beginnings of the keys of constructions that it fits; any when empty.
    touches : frozenset of Touch
    seals : SealsEntry or None
    layer : LayerEntry or None
    new_element : Element or None
    closes_opening : bool
    loss_db : ndarray or None, shape (31,), dB
        Insertion loss where nothing more is known.
    spread_db : float, dB
        How far published values differ.
    excludes : frozenset of str
        Keys of treatments that cannot be combined with it on one part.
    cost_class : CostClass
        An assumption, always.
    source : Source
    cautions : tuple of str
    """

    key: str
    title: str
    basis: str
    parts: tuple[What, ...]
    fits: tuple[str, ...]
    touches: frozenset[Touch]
    seals: SealsEntry | None
    layer: LayerEntry | None
    new_element: Element | None
    closes_opening: bool
    loss_db: FloatArray | None
    spread_db: float
    excludes: frozenset[str]
    cost_class: CostClass
    source: Source
    cautions: tuple[str, ...]

    @property
    def replaces(self) -> bool:
        """Whether it puts something else in the place of a leaf, a gap or an opening."""
        return self.seals is not None or self.new_element is not None or self.closes_opening

    def fits_part(self, part: Part) -> bool:
        """Whether the treatment is made for such a part."""
        known = not self.fits or part.element.key.startswith(self.fits)
        return part.what in self.parts and known and (not self.closes_opening or part.open_area_m2 > 0.0)


def default_steps() -> tuple[IsolationStep, ...]:
    """Return the room as it is, the even steps, then the shipped treatments of doors and windows by name."""
    treatments = (
        step_from_profile(profile.name, read)
        for profile in shipped_profiles("treatment")
        if (read := read_treatment(profile.path)).insertion_loss_db and _SINGLE_PARTS & set(read.parts)
    )
    return (*map(even_step, EVEN_STEPS_DB), *treatments)


@lru_cache(maxsize=1)
def shipped_treatments() -> tuple[Treatment, ...]:
    """Return the treatments that come with the program and act on parts of a room; read once."""
    read = ((found.name, read_treatment(found.path)) for found in shipped_profiles("treatment"))
    return tuple(treatment_from_profile(key, profile) for key, profile in read if profile.parts)


def treatment_from_profile(key: str, profile: TreatmentProfile) -> Treatment:
    """Return the treatment that a profile describes.

    Raises
    ------
    SettingsError
        If it names a construction that is not known, or says on no part what it acts.
    """
    if not profile.parts or profile.cost_class is None:
        raise SettingsError(
            f"{key}: says nothing about the parts of a room it acts on.", remedy="Give parts in the profile."
        )
    return Treatment(
        key=key,
        title=profile.title,
        basis=profile.basis,
        parts=tuple(profile.parts),
        fits=tuple(profile.fits),
        touches=frozenset(profile.touches),
        seals=profile.seals,
        layer=profile.layer if profile.layer is None or _known(key, profile.layer.construction) else None,
        new_element=None if profile.new_construction is None else _known(key, profile.new_construction),
        closes_opening=profile.closes_opening,
        loss_db=thirds_from_octaves(profile.loss_by_hz).levels_db if profile.insertion_loss_db else None,
        spread_db=profile.spread_db,
        excludes=frozenset(profile.excludes),
        cost_class=profile.cost_class,
        source=profile.sources[profile.source].source(),
        cautions=tuple(profile.cautions),
    )


def treated_open_m2(paths: RoomPaths, chosen: Sequence[tuple[Treatment, Part]]) -> FloatArray:
    """Return the open areas of all paths once parts are treated.

    Parameters
    ----------
    paths : RoomPaths
    chosen : sequence of (Treatment, Part)
        Each treatment with a part that it fits; in any order, for the outcome is the same. Those
        that exclude each other are not looked for here, see ``exclude_each_other``.

    Returns
    -------
    ndarray, shape (paths, bands), m²
        The same values where a treatment finds nothing to do, or nothing is known of what it would do.

    Notes
    -----
    Paths keep what a door test made of them, except a leaf that is replaced. What stands open is only
    changed by closing it.
    """
    open_m2 = paths.open_m2.copy()
    # What replaces a leaf or a gap comes first: what hangs before them works on what is then there.
    for treatment, part in sorted(chosen, key=lambda each: not each[0].replaces):
        for number, path in enumerate(paths.paths):
            if path.part is part:
                open_m2[number] = _treated_m2(treatment, path, open_m2[number], paths.factor[number])
    return open_m2


def left_of_paths(before_m2: FloatArray, after_m2: FloatArray) -> FloatArray:
    """Return which part of each path treatments leave, same shape; 1 where it was tight before."""
    return np.divide(after_m2, before_m2, out=np.ones_like(after_m2), where=before_m2 > 0.0)


def exclude_each_other(one: Treatment, other: Treatment) -> bool:
    """Whether two treatments cannot be combined on one part."""
    return one.key == other.key or other.key in one.excludes or one.key in other.excludes


def _treated_m2(treatment: Treatment, path: Path, open_m2: FloatArray, tested: FloatArray) -> FloatArray:
    """Return the open area of one path of a treated part, shape (bands,), m²."""
    if path.through == "opening":
        assert path.part.element.insulation is not None
        closed = energy(-path.part.element.insulation.levels_db)
        return open_m2 * closed if treatment.closes_opening else open_m2
    if treatment.layer is not None:
        return open_m2 * energy(-_layer_loss_db(treatment.layer, path.part))
    if path.part.element.as_hung or not treatment.replaces:
        return open_m2 if treatment.loss_db is None else open_m2 * energy(-treatment.loss_db)
    if path.gap is not None:
        return np.minimum(open_m2, _sealed_m2(treatment.seals, path.gap, path.part) * tested)
    if treatment.new_element is None:
        return open_m2
    assert treatment.new_element.insulation is not None
    return (path.part.area_m2 - path.part.open_area_m2) * energy(-treatment.new_element.insulation.levels_db)


def _sealed_m2(seals: SealsEntry | None, gap: Gap, part: Part) -> FloatArray:
    sealed = seals is not None and gap.edge in seals.edges
    width_m = min(gap.width_m, seals.left_mm / 1000.0) if seals is not None and sealed else gap.width_m
    return gap_open_m2(gap, part.depth_m, width_m)


def _layer_loss_db(layer: LayerEntry, part: Part) -> FloatArray:
    """Return what a layer in front of a part takes off, dB; nothing near and below their resonance."""
    hung = shipped_elements()[layer.construction]
    assert hung.insulation is not None
    leaf_kg_per_m2 = part.element.mass_kg_per_m2 or UNKNOWN_MASS_KG_PER_M2
    hung_kg_per_m2 = hung.mass_kg_per_m2 or UNKNOWN_MASS_KG_PER_M2
    resonance_hz = mass_air_mass_hz(leaf_kg_per_m2, hung_kg_per_m2, layer.distance_mm / 1000.0)
    insertion_db = layer_insertion(hung.insulation.levels_db, layer.open_fraction)
    return np.maximum(0.0, gained_above(insertion_db, mid_band_hz(), resonance_hz))


def _known(treatment: str, construction: str) -> Element:
    """Return an element that a treatment names; it must have a spectrum."""
    element = shipped_elements().get(construction)
    if element is None or element.insulation is None:
        raise SettingsError(
            f"{treatment}: must name a construction with a spectrum, got {construction!r:.80}"
            f"{'' if element else alike_text(construction)}.",
            remedy=KEYS_REMEDY,
        )
    return element
