"""The look file that is edited on the live page in tests: its lines and numbers do not change."""

LOOK = """title = "Slack water"

[exposure]
stops = -0.3

[balance]
keep = 0.35
mired = -12

[curve]
contrast = 1.14
toe = 0.30

[colour]
saturation = 0.72

[[tone]]
at_stops = -3.5
reach_stops = 5
towards = "5B"
chroma = 0.018
"""
