"""Records: what people measured, read and checked."""
