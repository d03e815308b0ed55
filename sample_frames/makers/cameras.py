"""Two cameras: one that sees as the CIE 1931 observer does, and one with measured sensitivities.

Both are set by hand to a balance and an exposure. Scene-linear light is linear BT.2020 with D65 as white, and
0.18 is an 18 % card exposed as an incident meter asks (ISO 2720, flat receptor, C = 280).

exact: XYZ, carried from the camera's balance white to D65 by linear Bradford.
sensor: measured sensitivities (NPL, "Nikon 5100 (NPL)" in colour-science's MSDS_CAMERA_SENSITIVITIES); raw
values over those of the balance white; then one 3 x 3 matrix by white-point-preserving least squares
(Finlayson and Drew 1997) to XYZ under the balance white, carried to D65, on the 24 chart reflectances and
190 training reflectances (Academy P-2013-001, as colour-science carries them).
"""

from __future__ import annotations

import warnings
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix, xyz_from_xy
from lookdev.colorimetry.rgb_spaces import BT2020, D65_XY
from lookdev.colorimetry.temperature import balance_white_xy
from makers import spectra
from makers.place import Place, View
from makers.transport import Meter, Transport, known_surfaces, mask_of

Array = NDArray[np.float64]

SENSOR = "Nikon 5100 (NPL)"
CONSTANT = 280.0
"""ISO 2720 calibration constant of an incident meter with a flat receptor; the range there is 240 to 400."""
LUMENS = 683.0


@cache
def sensitivities() -> Array:
    """Camera sensitivities on GRID (n, 3)."""
    colour = spectra._colour()
    data = colour.MSDS_CAMERA_SENSITIVITIES[SENSOR]
    return np.stack(
        [np.interp(spectra.GRID, data.wavelengths, data.values[:, i], left=0, right=0) for i in range(3)],
        axis=1,
    )


@cache
def balance_spectrum(balance_k: float) -> Array:
    """Spectrum on GRID of a camera's balance white, luminance 1: CIE daylight from 4000 K, else Planckian."""
    colour = spectra._colour()
    if balance_k >= 4000:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            sd = colour.sd_CIE_illuminant_D_series(balance_white_xy(balance_k))
        s = np.interp(spectra.GRID, sd.wavelengths, sd.values)
    else:
        lam = spectra.GRID * 1e-9
        s = lam**-5 / np.expm1(1.4388e-2 / (lam * balance_k))
    return np.asarray(s / (LUMENS * (s @ spectra.observer()[:, 1])))


@cache
def training() -> Array:
    """Reflectances (n, grid) that the camera's matrix is fitted on."""
    colour = spectra._colour()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        msds = colour.characterisation.read_training_data_rawtoaces_v1()
    rows = [np.interp(spectra.GRID, msds.wavelengths, msds.values[:, i]) for i in range(msds.values.shape[1])]
    return np.array([*rows, *spectra.chart().values()])


@cache
def sensor_matrix(balance_k: float) -> tuple[Array, Array]:
    """(3, 3) from balanced camera RGB to XYZ at D65, and what the sensor reads of the balance white (3,)."""
    light = balance_spectrum(balance_k)
    lit = training() * light
    neutral = light @ sensitivities()
    rgb = lit @ sensitivities() / neutral
    to_d65 = adaptation_matrix(tuple(balance_white_xy(balance_k)), D65_XY)
    xyz = LUMENS * (lit @ spectra.observer()) @ to_d65.T
    white = xyz_from_xy(D65_XY)
    matrix = np.zeros((3, 3))
    for i in range(3):  # least squares with rows that sum to the white: m3 = w - m1 - m2
        a = rgb[:, :2] - rgb[:, 2:]
        two = np.linalg.lstsq(a, xyz[:, i] - white[i] * rgb[:, 2], rcond=None)[0]
        matrix[i] = [two[0], two[1], white[i] - two.sum()]
    return matrix, neutral


def group_scales(place: Place, card: Meter) -> dict[str, float]:
    """Power of each lamp group so that the meter at the first view's card reads its illuminance."""
    out = {}
    for group, lamp in place.lamps.items():
        w = spectra.weights(lamp.illuminant, spectra.observer()[:, 1:2])[:, 0]
        out[group] = place.lux[group] / (LUMENS * float(card.irradiance(group) @ w))
    return out


def metered(place: Place, meter: Meter, scales: dict[str, float]) -> Array:
    """Spectral irradiance on GRID at a surface, W/m2/nm, a row a seed of the meter's render."""
    total: Any = 0.0
    for group, lamp in place.lamps.items():
        falls = meter.readings[group] @ spectra.band_interpolation()
        total = total + scales[group] * falls * spectra.lamp(lamp.illuminant)
    return np.asarray(total)


def gain(view: View) -> float:
    """Scene light of a perfect matt white per lux: 1 / 0.18 of what the meter puts at 0.18."""
    time_s, stop, iso = view.exposure
    return time_s * iso / (stop**2 * CONSTANT)


def expose(
    place: Place, view: View, transport: Transport, scales: dict[str, float], channels: Array, lamp: str = ""
) -> NDArray[np.float32]:
    """(h, w, channels): pi x radiance seen by ``channels`` (grid, n) of an observer or sensor, exposed.

    ``lamp`` stands in for every lamp of the place, with the same illuminance from each group.
    """
    first = next(iter(transport.images.values()))
    scale = first.shape[1] / view.size[0]
    out = np.zeros((*first.shape[:2], channels.shape[1]), dtype=np.float32)
    for group, kind in place.lamps.items():
        name = lamp or kind.illuminant
        power = scales[group]
        if lamp:
            y = spectra.observer()[:, 1]
            power *= float(spectra.lamp(kind.illuminant) @ y) / float(spectra.lamp(lamp) @ y)
        factor = np.pi * power * gain(view)
        image = transport.images[group]
        part = image @ (spectra.weights(name, channels) * factor).astype(np.float32)
        for known in known_surfaces(place, view):
            mask = mask_of(known, view, scale)
            w = spectra.weights(name, channels, known.reflectance) * factor
            part[mask] = image[mask] @ w.astype(np.float32)
        for i, stand_in in enumerate(view.stand_ins):
            assert transport.skin_shares is not None
            share = transport.skin_shares[..., i : i + 1]
            w = spectra.weights(name, channels, spectra.skin(stand_in.skin)) * factor
            part += share * (image @ w.astype(np.float32) - part)
        out += part
    return out


def exact_scene(
    place: Place, view: View, transport: Transport, scales: dict[str, float]
) -> NDArray[np.float32]:
    """Scene-linear BT.2020 (h, w, 3) of the exact camera."""
    xyz = expose(place, view, transport, scales, LUMENS * spectra.observer())
    to_d65 = adaptation_matrix(tuple(balance_white_xy(place.balance_k)), D65_XY)
    return np.asarray(xyz @ (BT2020.from_xyz @ to_d65).T.astype(np.float32))


def sensor_raw(
    place: Place, view: View, transport: Transport, scales: dict[str, float]
) -> NDArray[np.float32]:
    """Balanced raw (h, w, 3) of the real sensor: 1 in all channels is a perfect white under the balance."""
    neutral = sensor_matrix(place.balance_k)[1]
    return expose(place, view, transport, scales, sensitivities() / neutral)


def sensor_scene(
    place: Place, view: View, transport: Transport, scales: dict[str, float]
) -> NDArray[np.float32]:
    """Scene-linear BT.2020 (h, w, 3) of the real-sensor camera."""
    raw = sensor_raw(place, view, transport, scales)
    matrix = sensor_matrix(place.balance_k)[0]
    return np.asarray(raw @ (BT2020.from_xyz @ matrix).T.astype(np.float32))


def scene_light(
    place: Place, view: View, transport: Transport, scales: dict[str, float]
) -> NDArray[np.float32]:
    """Scene-linear BT.2020 (h, w, 3) of the view's own camera."""
    make = exact_scene if view.camera == "exact" else sensor_scene
    return make(place, view, transport, scales)


def texel_noise(place: Place, view: View, light: Transport, scales: dict[str, float]) -> dict[str, float]:
    """Noise of each known surface: standard deviation of a texel's luminance over its mean.

    From the two halves of the samples, whose seeds differ: what is common to both is light, and half their
    difference has the standard deviation of their mean. The 24 patches, a texel each, are taken together.
    """
    y = spectra.observer()[:, 1:2]
    found: dict[str, list[float]] = {}
    for known in known_surfaces(place, view):
        one, two = (
            sum(
                scales[g]
                * (
                    getattr(light.texels[g][known.name], side).astype(np.float64)
                    @ spectra.weights(lamp.illuminant, y, known.reflectance)[:, 0]
                )
                for g, lamp in place.lamps.items()
            )
            for side in ("one", "two")
        )
        name = "chart" if known.name in spectra.chart() else known.name
        found.setdefault(name, []).extend(((one - two) / (one + two)).ravel().tolist())
    return {name: float(np.sqrt(np.mean(np.square(values)))) for name, values in found.items()}


def chart_under_d65(reflectances: Array) -> Array:
    """XYZ (n, 3), white at Y = 1, of reflectances (n, grid) under D65."""
    light = spectra.lamp("D65")
    return np.asarray((reflectances * light) @ spectra.observer() / (light @ spectra.observer()[:, 1]))
