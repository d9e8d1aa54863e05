"""How often properties are tried.

`pytest --hypothesis-profile=thorough` tries them twenty times as often, for whoever changed rules
of production or planning; but those whose examples are the same at every run.
"""

from hypothesis import HealthCheck, settings

USUAL, THOROUGH = 50, 1000
"""How often one that does not say is tried, by profile."""


def register_profiles() -> None:
    """Make the profiles `usual`, which holds from now on, and `thorough`."""
    # no test fails because the machine is busy, or compiles first
    usual = settings(
        deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=USUAL
    )
    settings.register_profile("usual", usual)
    settings.register_profile("thorough", usual, max_examples=THOROUGH)
    settings.load_profile("usual")


def tried(times: int) -> settings:
    """Settings of a property that is usually tried so many times."""
    return settings(max_examples=times * settings().max_examples // USUAL)
