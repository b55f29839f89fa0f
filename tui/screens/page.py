"""The look that the pages beside the bench share, loaded with the first of them."""

from __future__ import annotations

from pathlib import Path

PAGE = Path(__file__).with_suffix(".tcss")
