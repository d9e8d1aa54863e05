"""Random logs are long: no test here fails because the machine is busy."""

from hypothesis import HealthCheck, settings

settings.register_profile("production", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("production")
