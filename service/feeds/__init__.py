"""What goes out beside JSON."""
