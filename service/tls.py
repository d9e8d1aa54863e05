"""How connections are encrypted."""

import ssl
from pathlib import Path


def context_of(certificate: Path, key: Path) -> ssl.SSLContext:
    """TLS 1.2 or later, with a certificate and its key, both PEM. Raises OSError."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate, key)
    return context
