"""What is collected here depends on how compiled code is run."""

import os

# without bounds checked these would read and write beyond arrays
collect_ignore = [] if os.environ.get("NUMBA_BOUNDSCHECK") == "1" else ["test_bounds.py"]
