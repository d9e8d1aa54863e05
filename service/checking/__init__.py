"""What is stored of a studio, held against the bytes that its record consists of."""

from service.checking.findings import Finding, Kind

__all__ = ["Finding", "Kind"]
