"""The CloudEvents 1.0 envelope around a fact, as a poster must write it."""

import re
from difflib import get_close_matches
from typing import Any

from marshmallow import ValidationError, fields, validate

from service.vocabulary.facts import CATALOGUE
from service.web.pointers import FieldError, step
from service.web.schemas.fields import Matches, OpenSchema, messages_of, moment_field, text_field
from service.web.schemas.messages import NOT_AN_OBJECT, Message

OWN = (
    *("position", "recordedat", "poster", "posterrole", "personal", "withheld", "cause"),
    *("typeversion", "forgotten", "salt"),
)
TRACE = ("traceparent", "tracestate")
WHOLE_32 = 2**31
_NAME = re.compile(r"[a-z0-9]{1,64}")
# CloudEvents 1.0.2, type system: no control characters and no noncharacters in a String
_ENDS = "".join(chr(plane * 0x10000 + last) for plane in range(17) for last in (0xFFFE, 0xFFFF))
_UNWANTED = re.compile(f"[\\u0000-\\u001f\\u007f-\\u009f\\ufdd0-\\ufdef{_ENDS}]")
# the same, to be read by anybody; patterns agree on no spelling for what lies beyond U+FFFF
PRINTABLE = r"^[^\u0000-\u001f\u007f-\u009f\ufdd0-\ufdef\ufffe\uffff]*$"
# RFC 3986, sections 3 and 4.1: characters of a reference; no colon in a first segment but after
# a scheme; square brackets around the host alone; one fragment
_PCHAR = r"(?:[A-Za-z0-9._~!$&'()*+,;=@-]|%[0-9A-Fa-f]{2})"
_TAIL = rf"(?:\?(?:{_PCHAR}|[:/?])*)?(?:#(?:{_PCHAR}|[:/?])*)?"
_AUTHORITY = rf"//(?:(?:{_PCHAR}|:)*|(?:(?:{_PCHAR}|:)*@)?\[[0-9A-Fa-fv:.]+\](?::[0-9]*)?)"
_PATH = rf"(?:{_PCHAR}|[:/])*"
_SCHEME = r"[A-Za-z][A-Za-z0-9+.-]*:"
_AFTER_SCHEME = rf"(?:{_AUTHORITY}(?:/{_PATH})?|(?!//){_PATH}){_TAIL}"
_RELATIVE = rf"(?:{_AUTHORITY}(?:/{_PATH})?|/(?!/){_PATH}|{_PCHAR}*(?:/{_PATH})?){_TAIL}"
URI = rf"^{_SCHEME}{_AFTER_SCHEME}$"
URI_REFERENCE = rf"^(?:{_SCHEME}{_AFTER_SCHEME}|{_RELATIVE})$"


class Printable(validate.Validator):
    """Text without the characters that CloudEvents does not allow."""

    def __init__(self, error: Message) -> None:
        self.message = error

    def __call__(self, value: str) -> str:
        """The value."""
        if _UNWANTED.search(value):
            raise ValidationError(self.message)
        return value


def _text(note: str, code: str, detail: str, pattern: str = "", **how: Any) -> fields.String:
    message = Message(code, detail)
    also = [Matches(pattern, error=message) if pattern else Printable(message)]
    metadata = {"description": note, "pattern": pattern or PRINTABLE}
    return text_field(256, code, detail, also=also, metadata=metadata, **how)


def _word(note: str, code: str, detail: str, among: tuple[str, ...], **how: Any) -> fields.String:
    message = Message(code, detail)
    return fields.String(
        error_messages=messages_of(message, invalid_utf8=message),
        validate=validate.OneOf(among, error=message),
        metadata={"description": note},
        **how,
    )


class Envelope(OpenSchema):
    """The attributes of an event; other names are extension attributes."""

    specversion = _word(
        "The version of CloudEvents.", "wrong-version", 'Write "1.0".', ("1.0",), required=True
    )
    id = _text(
        "With `source`, the event's identity: a repeat of both is recorded once.",
        "not-an-id",
        "Write 1 to 256 characters without control characters, new for each event of the source.",
        required=True,
    )
    source = _text(
        "Who records: the source that the token owns, or one beneath it (it, a slash, and more); "
        "without the segments . and ..",
        "not-a-uri-reference",
        "Write a URI reference (RFC 3986) of 1 to 256 characters, such as //desk/layout.",
        URI_REFERENCE,
        required=True,
    )
    type = _word(
        "Which fact it is.",
        "unknown-type",
        "Write one of the types of event listed in /openapi.json.",
        tuple(CATALOGUE),
        required=True,
    )
    subject = _text(
        "What it is about: studio, SHOW, SHOW-EPISODE, SHOW-EPISODE/SCENE or SHOW:ELEMENT.",
        "not-a-subject",
        "Write studio, SHOW, SHOW-EPISODE, SHOW-EPISODE/SCENE or SHOW:ELEMENT.",
        required=True,
    )
    time = moment_field(required=True, metadata={"description": "When it happened."})
    datacontenttype = _word(
        "Always JSON.",
        "not-json-data",
        'Write "application/json", or leave it out.',
        ("application/json",),
    )
    dataschema = _text(
        "The poster's own schema of the data; kept, not read.",
        "not-a-uri",
        "Write an absolute URI of 1 to 256 characters, or leave it out.",
        URI,
    )
    data = fields.Dict(
        required=True,
        error_messages=messages_of(NOT_AN_OBJECT),
        metadata={"description": "The fact's members."},
    )


NAMED = frozenset(Envelope().fields)


def extension_errors(members: dict[str, Any]) -> list[FieldError]:
    """What is wrong with the attributes that the envelope does not name."""
    errors = []
    for name, value in members.items():
        if name not in NAMED:
            message = _extension_message(name, value)
            if message is not None:
                errors.append(FieldError(step(name), str(message), message.code))
    return errors


def _extension_message(name: str, value: object) -> Message | None:
    if name in OWN:
        return Message("set-by-the-log", "The log sets this itself: leave it out.")
    if name == "data_base64":
        return Message("not-json-data", "Write the data as a JSON object in `data`.")
    if _NAME.fullmatch(name) is None:
        return Message(
            "wrong-name",
            "An extension attribute's name has 1 to 64 lower-case letters and digits; other "
            "members belong in `data`.",
        )
    if name not in TRACE and _is_flag_or_whole(value):
        return None
    if isinstance(value, str) and value and _UNWANTED.search(value) is None:
        return None
    return Message(
        "wrong-value",
        "An extension attribute is text without control characters, an integer of 32 bits, or "
        "true or false; null and empty text are left out.",
    )


def _is_flag_or_whole(value: object) -> bool:
    # 3.0 is an integer as in JSON Schema; bools are ints here
    if isinstance(value, int) or (isinstance(value, float) and value.is_integer()):
        return -WHOLE_32 <= value < WHOLE_32
    return False


def type_hint(name: object) -> str:
    """A remedy for a type that is not in the catalogue: the types that look like it."""
    near = get_close_matches(name, CATALOGUE, 3) if isinstance(name, str) else []
    if near:
        return f"There is no such type of event. Did you mean {' or '.join(near)}?"
    return "There is no such type of event; /openapi.json lists them."
