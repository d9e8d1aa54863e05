"""What may be said: identifiers, quantities, the calendar, and one frozen dataclass per fact."""
