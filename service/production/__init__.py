"""What the facts add up to: the state, its fold, the reach of a retake and the rules."""
