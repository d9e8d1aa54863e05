"""Files that come in: exports of the record, to be looked through."""
