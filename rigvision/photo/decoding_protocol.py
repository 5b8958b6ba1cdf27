"""What is said between the program and the child in which it has photos decoded.

A request is ``REQUEST`` (place in ``KINDS``, length of the name, length of the photo), the name
in UTF-8, and the photo's bytes. An answer is ``ANSWER`` (length), a JSON object of that length
and, where that has a ``shape``, the pixels, and where it names ``light``, that many float32 for
the light of each code. The first answer comes unasked: ``holds``, what the
child has given up.
"""

from __future__ import annotations

from struct import Struct
from typing import Literal

#: Luma codes for measuring, (H, W); colours for drawing on, (H, W, 3).
Kind = Literal["luma", "colour"]
KINDS: tuple[Kind, ...] = ("luma", "colour")
REQUEST = Struct("<BHQ")
ANSWER = Struct("<I")
#: What a picture says of its file beside EXIF: fields of ``picture.Picture`` that JSON can hold.
PLAIN_FACTS = ("container", "bits_per_channel", "jpeg_luma_steps")
