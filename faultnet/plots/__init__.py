"""Pictures: structure drawn as SVG by hand, numbers over axes by matplotlib; the same input gives the same bytes."""
