"""The made-up phone: a pinhole with lens distortion, and what it makes of light."""

from __future__ import annotations

import io
from dataclasses import dataclass

import cv2
import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class View:
    width: int
    height: int
    f_px: float
    cx: float
    cy: float
    k1: float
    k2: float
    rotation: Array  # (3, 3) camera from plane
    translation: Array  # (3,)

    @staticmethod
    def over(
        width: int,
        height: int,
        f_px: float,
        middle_off_px: tuple[float, float],
        k1: float,
        k2: float,
        aim: Array,
        height_in: float,
        tilt: float,
        tilt_toward: float,
        turn: float,
    ) -> View:
        """Looking at the plane point `aim` from `height_in` above it, leaning by `tilt` toward a bearing, rolled by `turn`."""
        forward = np.array([-np.sin(tilt) * np.sin(tilt_toward), -np.sin(tilt) * np.cos(tilt_toward), -np.cos(tilt)])
        up = np.array([np.sin(turn), np.cos(turn), 0.0])
        down = -(up - (up @ forward) * forward)
        down /= np.linalg.norm(down)
        rotation = np.stack([np.cross(down, forward), down, forward])
        eye = np.append(aim, 0.0) - height_in / np.cos(tilt) * forward
        middle = (width - 1) / 2 + middle_off_px[0], (height - 1) / 2 + middle_off_px[1]
        return View(width, height, f_px, *middle, k1, k2, rotation, -rotation @ eye)

    def _bent(self, x: Array, y: Array) -> tuple[Array, Array]:
        r2 = x * x + y * y
        return x * (1 + r2 * (self.k1 + r2 * self.k2)), y * (1 + r2 * (self.k1 + r2 * self.k2))

    def px(self, plan: Array, z: float = 0.0) -> Array:
        """Photo pixels (..., 2) of plane points (..., 2) at height z."""
        plan = np.asarray(plan, float)
        at = plan @ self.rotation[:, :2].T + self.rotation[:, 2] * z + self.translation
        x, y = self._bent(at[..., 0] / at[..., 2], at[..., 1] / at[..., 2])
        return np.stack([self.f_px * x + self.cx, self.f_px * y + self.cy], axis=-1)

    def plan(self, px: Array, z: float = 0.0) -> Array:
        """Plane points (..., 2) at height z that show at photo pixels (..., 2)."""
        xd, yd = (px[..., 0] - self.cx) / self.f_px, (px[..., 1] - self.cy) / self.f_px
        x, y = xd, yd
        for _ in range(8):
            bx, by = self._bent(x, y)
            x, y = x + xd - bx, y + yd - by
        ray = np.stack([x, y, np.ones_like(x)], axis=-1) @ self.rotation
        eye = -self.rotation.T @ self.translation
        return eye[:2] + ((z - eye[2]) / ray[..., 2])[..., None] * ray[..., :2]

    def plan_map(self, z: float, fine: int, cell: int = 8) -> Array:
        """(h, w, 2) plane points of the photo's samples, `fine` by `fine` to a pixel; exact every `cell` samples and linear between."""
        columns, rows = self.width * fine // cell + 2, self.height * fine // cell + 2
        sample = (np.arange(max(columns, rows)) - 0.5) * cell - 0.5  # sample numbers of the cells' middles, one cell outside first
        px = (sample + 0.5) / fine - 0.5
        grid = np.stack(np.meshgrid(px[:columns], px[:rows]), axis=-1)
        plan = self.plan(grid, z).astype(np.float32)
        large = cv2.resize(plan, (columns * cell, rows * cell), interpolation=cv2.INTER_LINEAR)
        return large[cell : cell + self.height * fine, cell : cell + self.width * fine]


@dataclass(frozen=True)
class Phone:
    blur_px: float = 0.7  # of lens and sensor, Gaussian
    read_noise: float = 0.002  # of full scale, linear
    shot_noise: float = 0.006  # at full scale, linear
    smoothing: float = 0.3  # share of the picture that its own blur replaces, after noise
    sharpening: float = 0.5
    sharpening_px: float = 1.0
    exposure: float = 1.15
    vignette: float = 0.15  # light lost in the corners
    quality: int = 90
    subsampled: bool = True
    focal_35mm: int | None = 26

    def jpeg(self, light: Array, rng: np.random.Generator) -> bytes:
        """A JPEG file of linear light (h, w, 3) B G R, 1 the sensor's full scale at an exposure of 1."""
        from PIL import Image

        height, width = light.shape[:2]
        y, x = np.mgrid[:height, :width].astype(np.float32)
        corner = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / ((width**2 + height**2) / 4)
        seen = cv2.GaussianBlur(light, (0, 0), self.blur_px) * (self.exposure * (1 - self.vignette * corner))[..., None]
        sigma = np.sqrt(self.read_noise**2 + self.shot_noise**2 * np.clip(seen, 0, 1))
        seen = seen + sigma * rng.standard_normal(seen.shape, np.float32)
        if self.smoothing:
            seen = seen + self.smoothing * (cv2.GaussianBlur(seen, (0, 0), 0.8) - seen)
        seen = np.clip(seen, 0, 1)
        code = 255 * np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * np.maximum(seen, 1e-6) ** (1 / 2.4) - 0.055)
        if self.sharpening:
            luma = code @ np.array([0.114, 0.587, 0.299], np.float32)
            code = code + (self.sharpening * (luma - cv2.GaussianBlur(luma, (0, 0), self.sharpening_px)))[..., None]
        picture = Image.fromarray(np.clip(np.round(code), 0, 255).astype(np.uint8)[..., ::-1])
        exif = Image.Exif()
        if self.focal_35mm:
            exif.get_ifd(0x8769)[0xA405] = self.focal_35mm
        into = io.BytesIO()
        picture.save(into, "JPEG", quality=self.quality, subsampling=2 if self.subsampled else 0, exif=exif)
        return into.getvalue()
