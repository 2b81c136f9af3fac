"""The science, without a framework: dose and size, resin, layout, quality."""
