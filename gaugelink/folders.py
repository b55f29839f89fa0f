"""Where gaugelink keeps its things: the store, the user's own files, the running hub's address."""

from __future__ import annotations

import os
from pathlib import Path

import msgspec


class Folders(msgspec.Struct, frozen=True):
    """The folders of one user's gaugelink."""

    data: Path
    """The store and its backups."""
    config: Path
    """`styles/`, `descriptions/`, `keys.toml`, `pedals.toml` and `cues.toml`, all the user's."""
    runtime: Path
    """The running hub's socket or address."""

    @property
    def store(self) -> Path:
        return self.data / "gaugelink.db"

    @property
    def styles(self) -> Path:
        return self.config / "styles"

    @property
    def descriptions(self) -> Path:
        return self.config / "descriptions"

    @property
    def keys(self) -> Path:
        return self.config / "keys.toml"

    @property
    def pedals(self) -> Path:
        return self.config / "pedals.toml"

    @property
    def cues(self) -> Path:
        return self.config / "cues.toml"


def folders(home: Path | None = None) -> Folders:
    """The folders below `home`, or where this system keeps a user's data when it is None.

    The environment variable GAUGELINK_HOME stands in for `home`.
    """
    named = os.environ.get("GAUGELINK_HOME")
    chosen = home or (Path(named) if named else None)
    if chosen is not None:
        return Folders(chosen / "data", chosen / "config", chosen / "run")
    import platformdirs

    data = platformdirs.user_data_path("gaugelink", appauthor=False)
    # Without the session's own folder a socket in a shared one could be anybody's.
    session = os.environ.get("XDG_RUNTIME_DIR")
    return Folders(
        data,
        platformdirs.user_config_path("gaugelink", appauthor=False),
        Path(session) / "gaugelink" if session else data / "run",
    )
