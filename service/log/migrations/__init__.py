"""How the database becomes what `schema` says, one revision after another."""
