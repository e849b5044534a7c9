"""Results as plain values, for JSON: what is not known is None, never NaN."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """Return dictionaries, lists, texts and numbers for dataclasses, arrays and enumerations."""
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, str):
        return str(value)  # without the parts that it was made of
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    return value
