"""Who asks: RFC 6750 bearer tokens in the Authorization header, and the roles a route wants."""

import re
from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar, cast

from flask import g, request

from service.log import tokens
from service.log.tokens import Token
from service.record import TokenRevokedError
from service.vocabulary.facts import Role
from service.web.problems import ProblemError
from service.web.services import services

_Route = TypeVar("_Route", bound=Callable[..., Any])

REALM = 'Bearer realm="retake-ledger"'
# RFC 6750, section 2.1
_CREDENTIALS = re.compile(r"[Bb][Ee][Aa][Rr][Ee][Rr] +([A-Za-z0-9._~+/-]{1,512}=*)")
_SHOW_ONE = "Send `Authorization: Bearer <token>`."


def _challenge(*parts: str) -> dict[str, str]:
    return {"WWW-Authenticate": ", ".join((REALM, *parts))}


def authenticate() -> Token:
    """The token that the request shows; found once a request.

    Raises ProblemError where there is none or it is not known.
    """
    found = g.get("token")
    if found is not None:
        return cast(Token, found)
    token = find(_secret_shown())
    if token is None:
        raise invalid_token()
    g.token = token
    return token


def find(secret: str) -> Token | None:
    """The valid token of a secret, looked up and remembered; None if there is none any more."""
    with services().engine.connect() as connection:
        token = tokens.find(connection, secret)
    seen = services().tokens_seen
    if token is None:
        seen.pop(tokens.hashed(secret), None)
        return None
    if len(seen) >= services().tokens_seen_max:
        seen.clear()
    seen[tokens.hashed(secret)] = token
    return token


def seen_before(secret: str) -> Token | None:
    """The token of a secret as this worker last saw it: it may have been revoked since."""
    return services().tokens_seen.get(tokens.hashed(secret))


def secret_of(authorization: str | None) -> str | None:
    """The secret in an Authorization header; None where it holds none."""
    found = _CREDENTIALS.fullmatch(authorization or "")
    return None if found is None else found[1]


def _secret_shown() -> str:
    return secret_in(request.headers.get("Authorization"))


def secret_in(header: str | None) -> str:
    """The secret in an Authorization header. Raises ProblemError where it holds none."""
    if header is None or header[:7].lower() != "bearer ":
        # section 3.1: who shows nothing is told no error code
        raise ProblemError("no-token", _SHOW_ONE, headers=_challenge())
    secret = secret_of(header)
    if secret is None:
        raise invalid_token()
    return secret


def invalid_token() -> ProblemError:
    """What is answered to a token that is not known."""
    detail = (
        "The token is not known here, or has been withdrawn. A token is what `token issue` prints "
        "behind the tab."
    )
    return ProblemError("invalid-token", detail, headers=_challenge('error="invalid_token"'))


def require_until_recorded(route: _Route) -> _Route:
    """Let a route answer who shows a token that was good when this worker last saw it.

    For a route that records, since the log looks at the token again where that counts, and spares
    the looking up before. Whatever else the route answers, it is looked up then.
    """

    @wraps(route)
    def guarded(*args: Any, **kwargs: Any) -> Any:
        hashed = tokens.hashed(_secret_shown())
        seen = services().tokens_seen.get(hashed)
        if seen is None:
            authenticate()
        else:
            g.token = seen
        try:
            return route(*args, **kwargs)
        except TokenRevokedError:
            services().tokens_seen.pop(hashed, None)
            raise invalid_token() from None
        except ProblemError:
            if seen is not None:
                look_again()
            raise

    guarded.roles_wanted = ()  # type: ignore[attr-defined]  # the documents read it
    return cast(_Route, guarded)


def look_again() -> None:
    """Look up the token that was assumed to be valid. Raises ProblemError."""
    g.pop("token", None)
    services().tokens_seen.pop(tokens.hashed(_secret_shown()), None)
    authenticate()


def require(*roles: Role) -> Callable[[_Route], _Route]:
    """Let a route answer only who shows a token, of one of the roles if any are named."""

    def guard(route: _Route) -> _Route:
        @wraps(route)
        def guarded(*args: Any, **kwargs: Any) -> Any:
            token = authenticate()
            if roles and token.role not in roles:
                raise _insufficient(roles)
            return route(*args, **kwargs)

        guarded.roles_wanted = roles  # type: ignore[attr-defined]  # the documents read it
        return cast(_Route, guarded)

    return guard


def _insufficient(roles: tuple[Role, ...]) -> ProblemError:
    wanted = " or ".join(roles)
    scope = " ".join(roles)
    return ProblemError(
        "insufficient-scope",
        f"This needs a token of the role {wanted}.",
        headers=_challenge('error="insufficient_scope"', f'scope="{scope}"'),
    )


def roles_of(route: Callable[..., Any]) -> tuple[str, ...] | None:
    """The roles a route wants, () for any, None where it asks for no token."""
    return cast("tuple[str, ...] | None", getattr(route, "roles_wanted", None))
