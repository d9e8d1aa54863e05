"""Tokens: issued, found, revoked, and never stored in the clear."""

from datetime import UTC, datetime
from hashlib import sha256

import pytest
from sqlalchemy import Engine, text

from service.log.tokens import Issued, PrefixError, Token, find, issue, list_tokens, revoke
from service.vocabulary.instants import instant_us

ISSUED_AT = datetime(2031, 3, 4, 9, 30, tzinfo=UTC)
REVOKED_AT = datetime(2031, 3, 5, 9, 30, tzinfo=UTC)


def test_a_token_is_found_by_its_secret_until_it_is_revoked(engine: Engine) -> None:
    with engine.begin() as connection:
        token_id, secret = issue(
            connection, "north", "Ann's script", "desk", ["layout", "camera"], "/ann", ISSUED_AT
        )
        token = Token(token_id, "north", "Ann's script", "desk", ("layout", "camera"), "/ann")
        assert find(connection, secret) == token
        assert list_tokens(connection, "north") == [Issued(token, instant_us(ISSUED_AT), None)]
        assert revoke(connection, "north", token_id, REVOKED_AT)
        assert find(connection, secret) is None
        assert not revoke(connection, "north", token_id, ISSUED_AT)
        assert list_tokens(connection, "north") == [
            Issued(token, instant_us(ISSUED_AT), instant_us(REVOKED_AT))
        ]


def test_a_studio_sees_and_revokes_only_its_own(engine: Engine) -> None:
    with engine.begin() as connection:
        token_id, secret = issue(connection, "north", "a", "office", [], "/a", ISSUED_AT)
        assert list_tokens(connection, "south") == []
        assert not revoke(connection, "south", token_id, REVOKED_AT)
        assert find(connection, secret) == Token(token_id, "north", "a", "office", (), "/a")


def test_only_the_hash_is_stored_and_each_secret_is_new(engine: Engine) -> None:
    with engine.begin() as connection:
        issued = [issue(connection, "north", "a", "office", [], "/a", ISSUED_AT) for _ in range(20)]
        stored = "\n".join(connection.execute(text("SELECT token::text FROM token")).scalars())
    secrets = {secret for _, secret in issued}
    assert len(secrets) == 20
    assert all(len(secret) >= 43 for secret in secrets)  # 256 bits in base 64
    assert not any(secret in stored or secret[3:] in stored for secret in secrets)
    assert all(sha256(secret.encode()).hexdigest() in stored for secret in secrets)


@pytest.mark.parametrize("secret", ["", "rl_", "\udcff", "nul\x00", "rl_" + "A" * 43])
def test_what_was_never_issued_is_not_found(engine: Engine, secret: str) -> None:
    with engine.begin() as connection:
        issue(connection, "north", "a", "office", [], "/a", ISSUED_AT)
        assert find(connection, secret) is None


@pytest.mark.parametrize("prefix", ["", "/", "/desks/", "/desks/../office", "/desks//layout"])
def test_no_token_is_made_for_a_prefix_without_a_clear_end(engine: Engine, prefix: str) -> None:
    with engine.begin() as connection:
        with pytest.raises(PrefixError, match="cannot be owned"):
            issue(connection, "north", "a", "office", [], prefix, ISSUED_AT)
        assert list_tokens(connection, "north") == []
