"""Scene to linear light: Blender's camera, Cycles, and the pixels it returns."""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import bpy
import cv2
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from . import assembly, lamps, props, surroundings
from .camera import F_NUMBER, FOCUS_POINT_MM, SENSOR_DIAGONAL_MM, View, undistorted_pixels
from .rig import Rig
from .shots import Shot

Image = NDArray[np.float32]

OVERSCAN = 1.03
PILOT_WIDTH_PX = 400


@dataclass(frozen=True)
class Quality:
    """How hard Cycles works."""

    samples: int = 128
    device: str = "cpu"
    denoise: bool = True
    depth_of_field: bool = True


def build_scene(rig: Rig, shot: Shot) -> None:
    """Replace Blender's scene by the shot's."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    assembly.build_gauge(rig, shot.look)
    assembly.build_frame(rig, shot.state, shot.look)
    assembly.build_socket(rig, shot.state)
    assembly.build_yoke(rig, shot.state, shot.look)
    surroundings.build_surroundings(rig, shot.look, shot.state, shot.view, shot.seed)
    props.build_props(rig, shot.state, shot.look.staged, shot.seed)
    lamps.add_staged_light(rig, shot)


def overscanned(view: View) -> View:
    """Return the distortion-free view that holds all of a distorted one."""
    if view.k1 == 0.0:
        return view
    width, height = view.size_px
    larger = max(OVERSCAN, 1.01 * _reach(view))
    size = (2 * math.ceil(width * larger / 2), 2 * math.ceil(height * larger / 2))
    scale = np.hypot(width, height) / np.hypot(*size)
    return replace(view, size_px=size, focal_scale=view.focal_scale * scale, k1=0.0)


def _reach(view: View) -> float:
    """How many times as large a picture without ``k1`` must be to hold all of this one."""
    x, y = undistorted_pixels(view)
    width, height = view.size_px
    across = np.abs(x - (width - 1) / 2).max() / (width / 2)
    return float(max(across, np.abs(y - (height - 1) / 2).max() / (height / 2)))


def place_camera(view: View, quality: Quality) -> None:
    """Give Blender the same pinhole as the truth, and a thin lens of the phone's size."""
    data = bpy.data.cameras.new("phone")
    width, height = view.size_px
    longest = max(width, height)
    pixel_mm = SENSOR_DIAGONAL_MM / math.hypot(width, height)
    data.sensor_fit = "HORIZONTAL" if width >= height else "VERTICAL"
    data.sensor_width = data.sensor_height = longest * pixel_mm
    data.lens = view.focal_px * pixel_mm
    dx, dy = view.principal_offset_px
    data.shift_x, data.shift_y = -dx / longest, dy / longest
    data.clip_start, data.clip_end = 1.0, 10000.0
    data.dof.use_dof = quality.depth_of_field
    data.dof.focus_distance = view.depth_mm(np.array(FOCUS_POINT_MM)) + view.defocus_mm
    data.dof.aperture_fstop = F_NUMBER / 1000  # scene units are mm, Blender expects m
    right, down, forward = view.axes
    pose = np.eye(4)
    pose[:3, :3] = np.column_stack([right, -down, -forward])
    pose[:3, 3] = view.position_mm
    obj = bpy.data.objects.new("phone", data)
    obj.matrix_world = Matrix(pose.tolist())
    bpy.context.scene.collection.objects.link(obj)
    bpy.context.scene.camera = obj


def configure(view: View, quality: Quality, seed: int) -> None:
    """Set Cycles up for linear 32-bit output."""
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    scene.render.resolution_x, scene.render.resolution_y = view.size_px
    scene.render.resolution_percentage = 100
    scene.render.image_settings.file_format = "OPEN_EXR"
    scene.render.image_settings.color_depth = "32"
    scene.render.image_settings.exr_codec = "ZIP"
    scene.render.use_persistent_data = False
    scene.view_settings.view_transform = "Raw"
    cycles = scene.cycles
    cycles.samples = quality.samples
    cycles.use_adaptive_sampling = True
    cycles.adaptive_threshold = 0.02
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = 8, 4, 5
    cycles.sample_clamp_indirect = 12.0
    cycles.caustics_reflective = False
    cycles.filter_width = 1.5
    cycles.seed = seed & 0xFFFF
    cycles.use_denoising = quality.denoise
    if quality.denoise:
        cycles.denoiser = "OPENIMAGEDENOISE"
        cycles.denoising_input_passes = "RGB_ALBEDO_NORMAL"
        cycles.denoising_use_gpu = quality.device == "cuda"
    _choose_device(quality.device)


def _choose_device(device: str) -> None:
    """Render on the CPU or on every CUDA card."""
    if device == "cpu":
        bpy.context.scene.cycles.device = "CPU"
        return
    preferences = bpy.context.preferences.addons["cycles"].preferences
    preferences.compute_device_type = "CUDA"
    preferences.get_devices()
    cards = [d for d in preferences.devices if d.type == "CUDA"]
    if not cards:
        raise RuntimeError("no CUDA card found; render with --device cpu")
    for card in preferences.devices:
        card.use = card.type == "CUDA"
    bpy.context.scene.cycles.device = "GPU"


def render_linear(rig: Rig, shot: Shot, quality: Quality) -> Image:
    """Path-trace a shot; return linear light (height, width, RGB), lens distortion included."""
    build_scene(rig, shot)
    view = overscanned(shot.view)
    place_camera(view, quality)
    configure(view, quality, shot.seed)
    if shot.look.staged.duct_over_door is not None:
        _light_duct(rig, shot, quality)
    image = _rendered()
    return distort(image, view, shot.view) if shot.view.k1 else image


def _rendered() -> Image:
    """Return the linear light of the scene as it stands."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "linear.exr"
        bpy.context.scene.render.filepath = str(target)
        bpy.ops.render.render(write_still=True)
        return read_exr(target)


def _light_duct(rig: Rig, shot: Shot, quality: Quality) -> None:
    """Make the duct's walls glow, by what a small picture shows of the door beside the gap."""
    width, height = (round(s * PILOT_WIDTH_PX / max(shot.view.size_px)) for s in shot.view.size_px)
    scale = width / shot.view.size_px[0]
    dx, dy = shot.view.principal_offset_px
    offset = (dx * scale, dy * scale)
    pilot = replace(shot.view, size_px=(width, height), principal_offset_px=offset, k1=0.0)
    scene = bpy.context.scene
    camera = scene.camera
    place_camera(pilot, quality)
    configure(pilot, quality, shot.seed)
    y = rig.sill_edge_y + shot.state.gap + 3.0
    seen = pilot.project(np.array([[x, y, rig.face_z] for x in rig.stations_x]))
    column, row = np.round(seen).astype(int).T
    door = float(np.median(_rendered()[row, column].mean(axis=-1)))
    scene.camera = camera
    configure(overscanned(shot.view), quality, shot.seed)
    shader = bpy.data.materials[assembly.DUCT].node_tree.nodes["Principled BSDF"]
    # The walls stay dark under their glow: light thrown from wall to wall would add to it.
    shader.inputs["Emission Color"].default_value = (1.0, 0.99, 0.96, 1.0)
    shader.inputs["Emission Strength"].default_value = shot.look.staged.duct_over_door * door


def read_exr(path: Path) -> Image:
    """Return an EXR's RGB, first row on top."""
    image = bpy.data.images.load(str(path))
    width, height = image.size
    pixels = np.empty(width * height * image.channels, np.float32)
    image.pixels.foreach_get(pixels)
    planes = pixels.reshape(height, width, image.channels)[::-1, :, :3].copy()
    bpy.data.images.remove(image)
    return planes


def distort(image: Image, source: View, target: View) -> Image:
    """Resample a distortion-free picture into the lens's own geometry.

    OpenCV rounds sampling places to 1/32 px; the rest is made up for by the gradient.
    """
    x, y = undistorted_pixels(target)
    offset = source.principal_px - target.principal_px
    x, y = x + offset[0], y + offset[1]
    xq, yq = np.round(x * 32) / 32, np.round(y * 32) / 32
    places = xq.astype(np.float32), yq.astype(np.float32)

    def sampled(plane: Image) -> Image:
        return cv2.remap(plane, *places, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)

    ridge = np.array([[-0.5, 0.0, 0.5]], np.float32)
    slope_x = sampled(cv2.filter2D(image, -1, ridge))
    slope_y = sampled(cv2.filter2D(image, -1, ridge.T))
    rest_x, rest_y = (x - xq)[..., None], (y - yq)[..., None]
    warped = sampled(image) + slope_x * rest_x + slope_y * rest_y
    return np.maximum(warped, 0).astype(np.float32)
