"""Documents of our own read back: what is wrong with one, in a sentence."""

from pydantic import ValidationError


def first_mistake(error: ValidationError) -> str:
    """Return the first mistake of a document as *place: what is wrong*.

    Examples
    --------
    >>> from pydantic import TypeAdapter
    >>> try:
    ...     TypeAdapter(dict[str, int]).validate_json('{"events": "many"}')
    ... except ValidationError as error:
    ...     first_mistake(error)
    'events: Input should be a valid integer, unable to parse string as an integer'
    """
    first = error.errors(include_url=False)[0]
    place = " ".join(str(part) for part in first["loc"]) or "file"
    return f"{place:.80}: {first['msg']:.200}"
