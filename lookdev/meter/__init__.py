"""The meter log and what follows from it.

``scout.load_scout`` reads a scout folder, ``log.read_meter_log`` its ``meter.csv``: ``columns`` has every
heading that is understood, ``cells`` what a cell may hold. ``notes`` turns readings into light notes, from
exposure (``exposure``), filters and fixtures (``filters``, ``fixture``), spectra (``spectrum``), flicker
(``flicker``) and the course of the day (``timeline``).
"""
