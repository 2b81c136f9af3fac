"""From a dose to a size: meshes, sections, the content model, sizing rules, checks and uncertainty. PURE."""
