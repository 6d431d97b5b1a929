"""What has to be said beside a first plan."""

PLAN_CAUTIONS = (
    "What is heard is computed for a young adult with normal hearing; published models differ from each "
    "other by about 3 dB either way. A plan that just meets its target may miss it in the room.",
    "Isolation steps are generic values for the treated path alone. The room gains less where sound also "
    "comes by other paths, and every event is taken to come by the treated one: prove each step with a "
    "door test.",
    "The background is taken to fall with every isolation step, as if all of it came from outside, because "
    "then events stand out most. What is made inside the room covers more than is counted here.",
    "Before anything is sealed, hung or replaced: fire doors, escape windows, ventilation, air for "
    "combustion, and smoke and carbon monoxide alarms come first. Local codes and licensed practice "
    "decide.",
)
"""Said with every plan."""

NO_EVENTS = "No event was found, so there is nothing to plan."
"""Said first when the night was quiet."""


def unknown_bands_caution(highest_known_hz: float) -> str:
    """Return the caution for recordings that end below the model's bands."""
    return (
        f"Nothing is known above the {highest_known_hz:g} Hz band in part of the events: what they have "
        "there was not planned for."
    )


JOINT_PLAN_CAUTIONS = (
    "What is heard is computed for a young adult with normal hearing; published models differ from each "
    "other by about 3 dB either way. A plan that just meets its target may miss it in the room: the "
    "certainty beside it says how surely it is met.",
    "Isolation values are generic. Prove each step with a door test, before and after, and plan again with "
    "what was measured.",
    "The side that each sound comes from decides what helps. Where nobody said it, it was guessed from the "
    "sounds that the room file names.",
    "Isolation lowers the background from outside too, so that what still comes in stands out more.",
    "Before anything is sealed, hung or replaced: fire doors, escape windows, ventilation, air for "
    "combustion, and smoke and carbon monoxide alarms come first. Local codes and licensed practice "
    "decide.",
)
"""Said with every plan of isolation and masking for a bedroom."""
