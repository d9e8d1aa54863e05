"""What schemas share."""

from marshmallow import EXCLUDE, Schema


def described(note: str) -> dict[str, str]:
    """The metadata of a field that is only described."""
    return {"description": note}


class Shown(Schema):
    """Base of what goes out; readers pass over members they do not know."""

    class Meta:
        """More members may come."""

        unknown = EXCLUDE
