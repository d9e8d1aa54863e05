"""What schemas share."""


def described(note: str) -> dict[str, str]:
    """The metadata of a field that is only described."""
    return {"description": note}
