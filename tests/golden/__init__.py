"""Records as past releases wrote them; how to add to them: `python -m tests.golden`."""
