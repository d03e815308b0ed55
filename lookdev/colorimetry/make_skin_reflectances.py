"""Write skin_reflectances.csv: ``python -m lookdev.colorimetry.make_skin_reflectances``.

Six model skins, from very light to dark, by a two-layer model: light passes the epidermis twice, between
that it is given back by a dermis that is thick for it.

Sources
-------
S. L. Jacques, "Skin optics summary" (Oregon Medical Laser Center, 1998) and "Optical properties of biological
tissues: a review", Phys. Med. Biol. 58 (2013) R37: absorption of melanosomes 6.6e11 λ^-3.33 /cm, baseline
0.244 + 85.3 exp(-(λ - 154)/66.2) /cm, reduced scattering 2e5 λ^-1.5 + 2e12 λ^-4 /cm, haemoglobin 150 g/l,
epidermis 60 µm (λ in nm; typed from memory).
Diffuse reflectance of a thick layer: S. T. Flock and others, "Monte Carlo modeling of light propagation in
highly scattering tissues", IEEE Trans. Biomed. Eng. 36 (1989) 1162, in the form with internal reflection
(0.53 at n = 1.4).
Blood lies in vessels and is no solution: L. O. Svaasand and others, Lasers Med. Sci. 10 (1995) 55.
Melanin lies in clumps: light passes a thickness that is gamma-distributed, our own choice, without which
dark skins come out more chromatic than any measured.
Haemoglobin: S. Prahl's compilation, ``haemoglobin_extinction.csv`` beside this file, from the package ``mne``
(BSD 3-Clause; the file bears its licence): nm, HbO2, Hb in 1/(cm M).

What all skins share (radius of vessels, scattering, what the surface gives back, baseline, clumping) is
fitted to the three measured skins that colour-science carries: CES15 and CES18 of IES TM-30 / CIE 224:2017,
TCS15 of CIE 2024, from 400 to 700 nm, as they are extrapolated beyond. What is each skin's own is melanin,
blood and its oxygen. ``tests/reference/test_skins.py`` leaves each measured skin out in turn.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.library import colour_science
from lookdev.files import write_whole

Array = NDArray[np.float64]

FILE = Path(__file__).with_name("skin_reflectances.csv")
HAEMOGLOBIN = Path(__file__).with_name("haemoglobin_extinction.csv")

WAVELENGTHS_NM = np.arange(380.0, 781.0, 5.0)
FITTED = (WAVELENGTHS_NM >= 400) & (WAVELENGTHS_NM <= 700)

_EPIDERMIS_CM = 0.006
_INTERNAL_REFLECTION = 0.53
_HAEMOGLOBIN_MOL_PER_L = 150.0 / 64500.0
_MELANOSOMES = 6.6e11 * WAVELENGTHS_NM**-3.33
_BASELINE = 0.244 + 85.3 * np.exp(-(WAVELENGTHS_NM - 154.0) / 66.2)
_SCATTERING = 2e5 * WAVELENGTHS_NM**-1.5 + 2e12 * WAVELENGTHS_NM**-4.0

SKINS = (
    ("very light", 0.050, 0.020),
    ("light", 0.082, 0.022),
    ("intermediate", 0.120, 0.024),
    ("tan", 0.165, 0.024),
    ("brown", 0.320, 0.020),
    ("dark", 0.700, 0.020),
)
"""Name (the classes of the individual typology angle, Chardon 1991 and Del Bino 2013), volume of melanosomes
in the epidermis and of blood in the dermis, as shares."""
OXYGEN = 0.75  # share of haemoglobin that carries oxygen, between venous and arterial


@dataclass(frozen=True)
class Tissue:
    """What all skins share.

    ``vessel_um`` radius of the vessels; ``scattering`` times Jacques' curve; ``surface`` share of light that
    the surface gives back; ``baseline`` times the dermis's own absorption; ``clumping`` variance of the
    melanin that light passes over the square of its mean.
    """

    vessel_um: float
    scattering: float
    surface: float
    baseline: float
    clumping: float


def haemoglobin() -> tuple[Array, Array]:
    """Molar extinction of HbO2 and Hb at :data:`WAVELENGTHS_NM`, (81,) each, in 1/(cm M)."""
    lines = (line for line in HAEMOGLOBIN.read_text("utf-8").splitlines() if line[:1].isdigit())
    table = np.array([[float(v) for v in line.split(",")] for line in lines])
    with_oxygen, without = (np.interp(WAVELENGTHS_NM, table[:, 0], table[:, i]) for i in (1, 2))
    return with_oxygen, without


def reflectance(
    melanin: float, blood: float, oxygen: float, tissue: Tissue, extinction: tuple[Array, Array]
) -> Array:
    """Reflectance factor (81,) at :data:`WAVELENGTHS_NM`; the first three are shares, 0 to 1."""
    whole_blood = (
        np.log(10.0) * _HAEMOGLOBIN_MOL_PER_L * (oxygen * extinction[0] + (1 - oxygen) * extinction[1])
    )
    across = 2.0 * whole_blood * tissue.vessel_um * 1e-4
    in_vessels = whole_blood * (1.0 - np.exp(-across)) / across
    dermis = blood * in_vessels + (1.0 - blood) * _BASELINE * tissue.baseline
    epidermis = melanin * _MELANOSOMES + (1.0 - melanin) * _BASELINE
    scattering = tissue.scattering * _SCATTERING
    albedo = scattering / (scattering + dermis)
    inside = (1.0 + _INTERNAL_REFLECTION) / (1.0 - _INTERNAL_REFLECTION)
    below = albedo / (
        1.0 + 2.0 * inside * (1.0 - albedo) + (1.0 + 2.0 * inside / 3.0) * np.sqrt(3.0 * (1.0 - albedo))
    )
    passed = (1.0 + 2.0 * epidermis * _EPIDERMIS_CM * tissue.clumping) ** (-1.0 / tissue.clumping)
    return np.asarray(tissue.surface + (1.0 - tissue.surface) * passed * below)


def measured_skins() -> dict[str, Array]:
    """The measured skins that colour-science carries, (81,) each."""
    colour = colour_science()
    shape = colour.SpectralShape(380, 780, 5)
    from colour.quality.cfi2017 import load_TCS_CIE2017
    from colour.quality.datasets.tcs import SDS_TCS

    samples = np.asarray(load_TCS_CIE2017(shape).values)
    tcs15 = SDS_TCS["CIE 2024"]["TCS15"]
    return {
        "CES15": samples[:, 14],
        "CES18": samples[:, 17],
        "TCS15": np.interp(WAVELENGTHS_NM, tcs15.wavelengths, tcs15.values),
    }


_USUAL = np.array([np.log(15.0), 0.0, 0.0, 0.0, np.log(0.5)])
_TRUST = np.array([0.375, 0.225, 15.0, 0.375, 0.3])  # how closely the shared numbers hold to the usual ones
_STARTS = (np.array([np.log(0.02), np.log(0.02), 1.0]), np.array([np.log(0.08), np.log(0.02), 1.0]))


def _tissue(v: Array) -> Tissue:
    return Tissue(
        float(np.exp(v[0])), float(np.exp(v[1])), float(v[2]), float(np.exp(v[3])), float(np.exp(v[4]))
    )


def _own(v: Array) -> tuple[float, float, float]:
    return float(np.exp(v[0])), float(np.exp(v[1])), float(1.0 / (1.0 + np.exp(-v[2])))


def _residual(own: Array, shared: Array, skin: Array, extinction: tuple[Array, Array]) -> Array:
    apart = (reflectance(*_own(own), _tissue(shared), extinction) - skin) / np.sqrt(skin.mean() * skin)
    return np.append(apart[FITTED], 0.05 * (own[2] - 0.85))


def fit_own(skin: Array, tissue: Tissue, extinction: tuple[Array, Array]) -> tuple[float, float, float]:
    """Melanin, blood and oxygen of one measured skin (81,), with all else as in ``tissue``."""
    from scipy.optimize import least_squares

    t = tissue
    shared = np.array(
        [np.log(t.vessel_um), np.log(t.scattering), t.surface, np.log(t.baseline), np.log(t.clumping)]
    )
    fits = [least_squares(_residual, start, args=(shared, skin, extinction)) for start in _STARTS]
    return _own(min(fits, key=lambda fit: fit.cost).x)


def fit_tissue(skins: list[Array], extinction: tuple[Array, Array]) -> Tissue:
    """What measured skins, (81,) each, have in common."""
    from scipy.optimize import least_squares

    def residuals(v: Array) -> Array:
        own = v[5:].reshape(-1, 3)
        parts = [_residual(p, v[:5], skin, extinction) for p, skin in zip(own, skins, strict=True)]
        return np.concatenate([_TRUST * (v[:5] - _USUAL), *parts])

    fits = [least_squares(residuals, np.concatenate([_USUAL, *[start] * len(skins)])) for start in _STARTS]
    return _tissue(min(fits, key=lambda fit: fit.cost).x)


def reflectances_csv() -> str:
    """The text of the file: nm, then a column a skin."""
    extinction = haemoglobin()
    tissue = fit_tissue(list(measured_skins().values()), extinction)
    columns = [reflectance(melanin, blood, OXYGEN, tissue, extinction) for _, melanin, blood in SKINS]
    lines = ["nm," + ",".join(name for name, _, _ in SKINS)]
    lines += [
        f"{nm:g}," + ",".join(f"{v:.5f}" for v in row)
        for nm, row in zip(WAVELENGTHS_NM, np.stack(columns, axis=-1), strict=True)
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    write_whole(FILE, reflectances_csv())
