"""A scout resolved once: which reading for which still, the cast, the exposure, the places."""
