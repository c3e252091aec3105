"""Loaded before the settings (``-p tests.early`` in pyproject.toml): what they need to start in a test.

Only defaults are set, so a run may choose another database or key by its environment.
"""

import os
import secrets

os.environ.setdefault("TRAYSPAN_TESTING", "1")
# A key for this run alone. Worker processes inherit it, so signed values agree between them.
if "TRAYSPAN_SECRET_KEY_FILE" not in os.environ:
    os.environ.setdefault("TRAYSPAN_SECRET_KEY", secrets.token_urlsafe(64))
