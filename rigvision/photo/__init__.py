"""From a file to trustworthy pixels: decode, limits, EXIF, orientation once, linear light, hash."""
