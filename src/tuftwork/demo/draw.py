"""A small picture maker: surfaces, a camera, a light; shading, shadow, lens and grain.

Triangles are drawn one by one into a depth buffer without distortion; the lens then bends the
finished picture as the camera's own formula says, so that a mark lies where the camera puts it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tuftwork.demo.fill import fill_triangles
from tuftwork.demo.mould import Surface
from tuftwork.reading import Camera
from tuftwork.reading.camera import straightened

_SUN = np.array([-0.35, 0.45, 0.82]) / np.linalg.norm([-0.35, 0.45, 0.82])
_MARGIN = 1.12  # the straight picture is this much wider than the bent one it is cut from


def draw(
    surfaces: Sequence[Surface], camera: Camera, size: tuple[int, int], *,
    seed: int, on_lift: bool = False,
) -> np.ndarray:  # fmt: skip
    """Return a picture ``(height, width, 3)`` of bytes, red first."""
    import cv2

    width, height = size
    wide = (int(width * _MARGIN), int(height * _MARGIN))
    shift = np.array([(wide[0] - width) / 2, (wide[1] - height) / 2])
    straight = replace(camera, distortion=0.0, centre=np.asarray(camera.centre) + shift)
    image = _ground(straight, wide, surfaces, seed, on_lift=on_lift).astype(np.float64)
    depth = np.full((wide[1], wide[0]), np.inf, dtype=np.float32)
    for surface in surfaces:
        _paint(surface, straight, image, depth)
    where = _bent_from(camera, size, np.asarray(straight.centre))
    bent = cv2.remap(
        image.astype(np.float32), where[..., 0], where[..., 1], cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    rng = np.random.default_rng(seed)
    soft = cv2.GaussianBlur(bent, (0, 0), 0.7)
    grain = rng.normal(0.0, 0.008, soft.shape[:2]).astype(np.float32)[..., None]
    found = np.clip(soft + grain, 0.0, 1.0) ** (1 / 2.2)
    return np.asarray((255.0 * found + 0.5).astype(np.uint8))


def _bent_from(camera: Camera, size: tuple[int, int], centre: np.ndarray) -> np.ndarray:
    """Return where in the straight picture every pixel of the bent one lies."""
    x = (np.arange(size[0]) - camera.centre[0])[None, :]
    y = (np.arange(size[1]) - camera.centre[1])[:, None]
    away = np.hypot(x, y)
    table = np.linspace(0.0, float(away.max()), 400)
    row = np.stack([table, 0 * table], axis=1) + np.asarray(camera.centre)
    reach = straightened(camera, row)[:, 0] * camera.focal
    scale = np.interp(away, table[1:], reach[1:] / table[1:])
    return np.stack([x * scale + centre[0], y * scale + centre[1]], axis=-1).astype(np.float32)


def _ground(
    camera: Camera, size: tuple[int, int], surfaces: Sequence[Surface], seed: int, *, on_lift: bool
) -> np.ndarray:
    """Return floor, shadow and wall, pixel by pixel."""
    import cv2

    small = (size[0] // 3, size[1] // 3)
    x, y = np.meshgrid(np.linspace(0, size[0] - 1, small[0]), np.linspace(0, size[1] - 1, small[1]))
    flat = np.stack([x - camera.centre[0], y - camera.centre[1]], axis=-1) / camera.focal
    ray = np.concatenate([flat, np.ones_like(flat[..., :1])], axis=-1) @ camera.rotation()
    ray = ray / np.linalg.norm(ray, axis=-1, keepdims=True)
    eye = camera.place()
    sky = np.clip(0.5 + 0.6 * ray[..., 2], 0.0, 1.0)[..., None]
    picture = (0.55 + 0.25 * sky) * np.array([0.86, 0.88, 0.90])
    if on_lift:
        picture = (0.10 + 0.14 * sky) * np.array([0.9, 0.92, 1.0])
        return np.asarray(cv2.resize(picture.astype(np.float32), size))
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.where(ray[..., 2] < -1e-4, -eye[2] / ray[..., 2], np.nan)
    floor = eye[:2] + reach[..., None] * ray[..., :2]
    seen = np.isfinite(reach) & (reach < 60.0)
    place = np.where(seen[..., None], floor, 0.0)
    rng = np.random.default_rng(seed + 7)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (256, 256)).astype(np.float32), (0, 0), 1.2)
    index = (place * 40.0).astype(np.int64) % 256
    tone = 0.19 + 0.02 * grain[index[..., 1], index[..., 0]]
    joint = np.minimum(np.abs(place[..., 0] % 3.0 - 1.5), np.abs(place[..., 1] % 3.0 - 1.5))
    tone = tone * (1.0 - 0.35 * np.exp(-((joint / 0.012) ** 2)))
    shade = _shadow(surfaces, place)
    ground = (tone * (1.0 - 0.8 * shade))[..., None] * np.array([1.0, 0.99, 0.96])
    far = np.clip((np.where(seen, reach, 60.0) - 9.0) / 30.0, 0.0, 1.0)[..., None]
    ground = ground * (1.0 - far) + 0.5 * far
    picture = np.where(seen[..., None], ground, picture)
    return np.asarray(cv2.resize(picture.astype(np.float32), size))


def _shadow(surfaces: Sequence[Surface], place: np.ndarray) -> np.ndarray:
    """Return how far each place of the floor lies in the car's soft shadow, 0 to 1."""
    import cv2

    cell, low = 0.02, np.array([-4.0, -4.0])
    mask = np.zeros((400, 500), dtype=np.uint8)
    for surface in surfaces:
        fall = surface.vertices[:, :2] - _SUN[:2] / _SUN[2] * surface.vertices[:, 2:]
        corners = ((fall - low) / cell).astype(np.int32)
        for face in surface.faces:
            cv2.fillConvexPoly(mask, corners[face], 255)
    soft = cv2.GaussianBlur(mask.astype(np.float32) / 255.0, (0, 0), 2.5)
    index = np.clip(((place - low) / cell).astype(np.int64), 0, [499, 399])
    return np.asarray(soft[index[..., 1], index[..., 0]])


def _paint(surface: Surface, camera: Camera, image: np.ndarray, depth: np.ndarray) -> None:
    rotation, shift = camera.rotation(), np.asarray(camera.shift)
    seen = surface.vertices @ rotation.T + shift
    corners = seen[surface.faces]
    if np.all(corners[..., 2] < 0.05):
        return
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = normal / np.maximum(length, 1e-12)
    away = np.sum(normal * corners.mean(axis=1), axis=1) > 0
    normal[away] *= -1.0
    if surface.smooth:
        shared = np.zeros_like(seen)
        for k in range(3):
            np.add.at(shared, surface.faces[:, k], normal * length)
        shared /= np.maximum(np.linalg.norm(shared, axis=1, keepdims=True), 1e-12)
        at_corner = shared[surface.faces]
    else:
        at_corner = np.repeat(normal[:, None], 3, axis=1)
    light = _lit(at_corner, corners, rotation, surface)
    flat = corners[..., :2] / np.maximum(corners[..., 2:], 0.05) * camera.focal
    flat = flat + np.asarray(camera.centre)
    order = np.flatnonzero((length[:, 0] > 1e-12) & np.all(corners[..., 2] > 0.05, axis=1))
    fill_triangles(flat[order], corners[order, :, 2], light[order], image, depth)


def _lit(
    normal: np.ndarray, corners: np.ndarray, rotation: np.ndarray, surface: Surface
) -> np.ndarray:
    """Return the colour at every corner: sun, sky and a highlight."""
    sun, up = rotation @ _SUN, rotation @ np.array([0.0, 0.0, 1.0])
    direct = np.clip(normal @ sun, 0.0, 1.0)
    sky = 0.5 + 0.5 * (normal @ up)
    view = -corners / np.linalg.norm(corners, axis=-1, keepdims=True)
    half = view + sun
    half = half / np.linalg.norm(half, axis=-1, keepdims=True)
    gloss = np.clip(np.sum(normal * half, axis=-1), 0.0, 1.0) ** 40
    edge = (1.0 - np.clip(np.sum(normal * view, axis=-1), 0.0, 1.0)) ** 4
    tone = (0.16 + 0.34 * sky + 0.85 * direct)[..., None] * np.array(surface.colour)
    return np.asarray(tone + surface.shine * (0.7 * gloss + 0.25 * edge * sky)[..., None])
