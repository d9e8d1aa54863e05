"""What the service does not know and whoever enters or reads a figure must: in one place, verbatim.

They stand in the descriptions of the facts that enter such figures, and in the answers and papers
that show them. Each defers to the law of the place and to agreements; none of it is advice.
"""

FLOAT = "Float is counted along the route without crews: crews can eat it."
HOURS = (
    "Working hours, overtime, rest, night work and the work of minors are subject to local law and "
    "to agreements; nothing here checks them."
)
PEOPLE = (
    "Records about people at work are subject to labour and privacy law: write codes, never names, "
    "and keep and show no more than the law and agreements allow."
)
BLAME = (
    "Whose fault a retake is said to be is a remark about a department, not a finding about a "
    "person; what may be recorded of it, and what may follow, is for labour law and agreements to "
    "say."
)
TAXES = (
    "Taxes and duties are not in these prices; which apply, and who owes them, is for local law to "
    "say."
)
