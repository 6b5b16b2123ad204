from dataclasses import dataclass

import pytest

from referral.sheets.snapshot import SheetKind
from tests.features.sheets.sample import Signed, signed_sheet


@dataclass(frozen=True)
class BothKinds:
    agreed: Signed
    fitted: Signed


@pytest.fixture(scope="session")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> BothKinds:
    """Both kinds of sheet, signed twice; made once because signing them is the slow part."""
    folder = tmp_path_factory.mktemp("authority")
    return BothKinds(
        signed_sheet(folder / "a", SheetKind.AGREED_PLAN),
        signed_sheet(folder / "b", SheetKind.AS_FITTED),
    )
