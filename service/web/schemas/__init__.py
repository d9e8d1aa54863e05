"""What comes in and goes out, as marshmallow schemas."""
