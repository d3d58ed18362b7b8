"""Raw files (DNG): told from a plain TIFF, and read linearly through LibRaw where that is installed (coincide[raw]).

What lies on top of such a file is a small preview with the maker's tones; the picture is in an image within.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput

_DNG_VERSION = 50706  # DNG 1.4, DNGVersion
_CFA, _LINEAR_RAW = 32803, 34892  # DNG 1.4, PhotometricInterpretation


def is_raw(page: Any) -> bool:
    """Whether the first page of a TIFF (tifffile's) is that of a raw file."""
    return _DNG_VERSION in page.tags or int(page.photometric) in (_CFA, _LINEAR_RAW)


def read_raw(path: Path, bounded: Callable[[Path, int, int], None]) -> npt.NDArray[np.uint16]:
    """(h, w, 3), 16 bits, linear, the camera's own colours: nothing is brightened or balanced. Up is up.

    `bounded` (path, width, height) raises where that is more than is read. Raises BadInput without LibRaw, or for a
    file that it cannot decode.
    """
    try:
        import rawpy
    except ImportError:
        raise BadInput(
            f"{path}: is a raw file, and what lies on top in it is a preview. To read the raw picture install "
            "'coincide[raw]'; or export it as TIFF with 16 bits."
        ) from None
    try:
        with rawpy.imread(str(path)) as raw:
            bounded(path, int(raw.sizes.width), int(raw.sizes.height))
            linear = raw.postprocess(
                gamma=(1, 1),
                no_auto_bright=True,
                output_bps=16,
                user_wb=[1.0, 1.0, 1.0, 1.0],
                output_color=rawpy.ColorSpace.raw,
            )
    except rawpy.LibRawError as error:
        raise BadInput(
            f"{path}: is a raw file that cannot be decoded ({str(error).strip():.80}). Export it as TIFF with 16 bits."
        ) from None
    return np.asarray(linear, np.uint16)
