"""Our own charts: a plan in, SVG out."""
