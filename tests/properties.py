"""How often properties are tried: half as often as they say, unless a profile says otherwise.

`pytest --hypothesis-profile=thorough` tries them ten times as often as they say, for whoever
changed rules of production or planning.
"""

from hypothesis import HealthCheck, settings

USUAL_PERCENT, THOROUGH_PERCENT = 50, 1000


def register_profiles() -> None:
    """Make the profiles `usual`, which holds from now on, and `thorough`."""
    # no test fails because the machine is busy, or compiles first
    usual = settings(
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow],
        max_examples=USUAL_PERCENT,
    )
    settings.register_profile("usual", usual)
    settings.register_profile("thorough", usual, max_examples=THOROUGH_PERCENT)
    settings.load_profile("usual")


def tried(times: int) -> settings:
    """Settings of a property that is tried so many times, by the profile more often or less."""
    return settings(max_examples=max(1, times * settings().max_examples // 100))
