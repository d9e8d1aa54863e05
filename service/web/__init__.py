"""HTTP: problems, access, and by noun the routes and the shapes of their answers.

Every read works on one `View` (a position and a moment); a cursor names both and the place within
them, so all pages of a list are of one snapshot. An answer is a struct (`nouns/*/answers`): its
bytes and its schema come from it. What comes in is passed by `schemas/plain` where it is plainly in
order; everything else, and every error, is the marshmallow schemas' to say.

No request may raise a worker by more than 64 MiB. What is posted is bounded in bytes, in values, in
errors told and in personal text of an event. Pages of events are cut in the database by bytes;
pages of what has texts ask for their sizes first (`paged_texts`). What earlier releases took, of
any length, is handed on as the JSON it was kept in and never made into objects.
"""
