"""Results of recordings by key: what was measured once is not measured again."""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path

KEY = re.compile(r"[0-9a-f]{64}")


class ResultCache:
    """A folder of results, one small file each, written whole or not at all.

    Several processes may read and write it at once: equal keys hold equal results.

    Args:
        folder: Made when the first result is put.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def get(self, key: str) -> str | None:
        """Return the result of a key, None if there is none."""
        try:
            head, _, text = self._path(key).read_text(encoding="utf-8").partition("\n")
        except (OSError, UnicodeDecodeError):
            return None
        # A file cut short by a full disk, or put there by somebody else, is none of ours.
        return text[:-1] if head == key and text.endswith("\n") else None

    def put(self, key: str, text: str) -> None:
        """Keep a result, one line of text.

        Raises:
            OSError: It cannot be written.
        """
        path = self._path(key)
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, part = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(f"{key}\n{text}\n")
            Path(part).replace(path)
        except BaseException:
            Path(part).unlink(missing_ok=True)
            raise

    def _path(self, key: str) -> Path:
        if not KEY.fullmatch(key):
            raise ValueError(f"{key!r} is no key")
        return self.folder / key[:2] / f"{key}.json"
