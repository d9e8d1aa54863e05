"""What goes out: exports of the record."""
