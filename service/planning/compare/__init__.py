"""What differs between two plans or two states: impact, prices, the trail of dates."""
