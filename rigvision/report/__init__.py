"""A result into what people read and keep: the analysed image, text, JSON."""
