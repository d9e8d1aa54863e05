"""HTTP: problems, schemas, access, the routes by noun, and the app factory."""
