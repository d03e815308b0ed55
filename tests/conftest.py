"""What every test stands on."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True, scope="session")
def _own_state_folder(tmp_path_factory: pytest.TempPathFactory) -> object:
    """Notes of what was written stay out of the person's own state folder (XDG Base Directory)."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        yield
