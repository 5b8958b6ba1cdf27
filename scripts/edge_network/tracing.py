"""Light that reaches the camera from a cross-section, by path tracing.

The section does not change along the edge, so lines of sight are followed in (v, w) while
directions, lamps and reflection (GGX with Schlick's Fresnel term, and Lambert's law) keep all
three dimensions. Each bounce draws its direction from surface or lamps and weighs by the sum
of both densities (the balance heuristic, Veach and Guibas 1995).
"""

from __future__ import annotations

from functools import partial

import jax
import jax.numpy as jnp
import numpy as np

from .places import PER_RADIUS, PLACES
from .scenes import ALPHA_U, ALPHA_V, BASE, F32, LOBES, METALLIC, Sections

BOUNCES = 4
FAR = 1e9


def light_of(sections: Sections, paths: int, seed: int, batch: int = 512) -> F32:
    """Light (N, len(PLACES)) seen at each place along the section."""
    keys = jax.random.split(jax.random.key(seed), len(sections))
    found = []
    for start in range(0, len(sections), batch):
        part = {k: v[start : start + batch] for k, v in vars(sections).items()}
        found.append(np.asarray(_trace_all(part, keys[start : start + batch], paths)))
    return np.concatenate(found)


@partial(jax.jit, static_argnums=2)
def _trace_all(sections, keys, paths):
    return jax.vmap(partial(_trace_one, paths=paths))(sections, keys)


def _trace_one(s, key, paths):
    def one_more(total, key):
        return total + _one_path(s, key), None

    total, _ = jax.lax.scan(one_more, jnp.zeros(len(PLACES)), jax.random.split(key, paths))
    return total / paths


def _one_path(s, key):
    n = len(PLACES)
    key, jitter = jax.random.split(key)
    within = (jax.random.uniform(jitter, (n,)) - 0.5) / PER_RADIUS
    place = jnp.asarray(PLACES, jnp.float32) + within
    to_camera = jnp.array([s["slope_u"], s["slope"], 1.0])
    to_camera = to_camera / jnp.linalg.norm(to_camera)
    start_w = 2.0
    v = place + s["slope"] * (start_w + 1.0)
    w = jnp.full(n, start_w)
    direction = jnp.broadcast_to(-to_camera, (n, 3))
    carried, light = jnp.ones(n), jnp.zeros(n)
    for bounce in range(BOUNCES):
        key, one = jax.random.split(key)
        hit = _nearest(s, v, w, direction)
        leaves = ~hit["any"]
        seen = _surroundings(s, v, w, direction, to_camera)
        # The camera looks through the window: its own line of sight ends at the section.
        seen = jnp.where(direction[:, 2] < 0, s["duct"], seen) if bounce == 0 else seen
        light = light + jnp.where(leaves, carried * seen, 0.0)
        if bounce == BOUNCES - 1:
            break
        v, w = hit["v"], hit["w"]
        new, weight = _scatter(s, hit, -direction, one)
        carried = jnp.where(leaves, 0.0, carried * weight)
        v = v + 1e-4 * hit["normal"][:, 0]
        w = w + 1e-4 * hit["normal"][:, 1]
        direction = jnp.where(leaves[:, None], direction, new)
    return light


def _nearest(s, v, w, d):
    """First surface of either body that a ray meets."""
    first = _body(v, w, d[:, 1], d[:, 2], s["depth"][0])
    other = _body(s["gap"] - v, w - s["step"], -d[:, 1], d[:, 2], s["depth"][1])
    is_first = first[0] <= other[0]
    t = jnp.minimum(first[0], other[0])
    pick = [jnp.where(is_first, a, b) for a, b in zip(first, other, strict=True)]
    side = jnp.where(is_first, 1.0, -1.0)
    normal = jnp.stack([side * pick[1], pick[2]], axis=-1)
    return {
        "any": t < FAR,
        "v": v + t * d[:, 1],
        "w": w + t * d[:, 2],
        "normal": normal,
        "along": pick[3],
        "body": jnp.where(is_first, 0, 1),
    }


def _body(v, w, dv, dw, depth):
    """Distance, normal (v, w) and place along the section of the first hit of the body v < 0.

    Along the section, 0 is where the round begins on the face, positive into the slot.
    """
    safe = lambda x: jnp.where(jnp.abs(x) < 1e-9, 1e-9, x)  # noqa: E731
    face = -w / safe(dw)
    face_v = v + face * dv
    face = jnp.where((dw < 0) & (face > 1e-5) & (face_v < -1.0), face, FAR)
    slot = -v / safe(dv)
    slot_w = w + slot * dw
    slot = jnp.where((dv < 0) & (slot > 1e-5) & (slot_w < -1.0) & (slot_w > -depth), slot, FAR)
    a = dv * dv + dw * dw
    b = (v + 1.0) * dv + (w + 1.0) * dw
    root = b * b - a * ((v + 1.0) ** 2 + (w + 1.0) ** 2 - 1.0)
    rounded = (-b - jnp.sqrt(jnp.maximum(root, 0.0))) / safe(a)
    nv, nw = v + rounded * dv + 1.0, w + rounded * dw + 1.0
    on_round = (root > 0) & (rounded > 1e-5) & (nv >= 0) & (nw >= 0)
    rounded = jnp.where(on_round, rounded, FAR)
    t = jnp.minimum(jnp.minimum(face, slot), rounded)
    is_face, is_round = face <= t, rounded <= t
    normal_v = jnp.where(is_face, 0.0, jnp.where(is_round, nv, 1.0))
    normal_w = jnp.where(is_face, 1.0, jnp.where(is_round, nw, 0.0))
    along = jnp.where(
        is_face, face_v + 1.0, jnp.where(is_round, jnp.arctan2(nv, nw), np.pi / 2 - slot_w - 1.0)
    )
    return t, normal_v, normal_w, along


def _surroundings(s, v, w, d, to_camera):
    """Light that comes from a direction: duct, plate, or the hangar through the window."""
    up = jnp.maximum(d[:, 2], 1e-6)
    lower, upper, back, front = s["window"]
    at_back = v + (back - w) / up * d[:, 1]
    at_front = v + (front - w) / up * d[:, 1]
    outside_back = (at_back < -lower) | (at_back > s["gap"] + upper)
    outside_front = (at_front < -lower) | (at_front > s["gap"] + upper)
    mean = s["ambient"][0] + jnp.sum(s["lobes"][:, 4] / (s["lobes"][:, 3] + 1.0)) * 0.5
    open_sky = _sky(s, d, to_camera)
    through = jnp.where(outside_front, s["plate"][1] * mean, open_sky)
    front_side = jnp.where(outside_back, s["plate"][0] * mean, through)
    return jnp.where(d[:, 2] <= 0, s["duct"], front_side)


def _sky(s, d, to_camera):
    ambient = jnp.maximum(s["ambient"][0] + d @ s["ambient"][1:], 0.0)
    shade = s["body_shade"][0] * jnp.exp(s["body_shade"][1] * (d @ to_camera - 1.0))
    cosine = d @ s["lobes"][:, :3].T
    lamps = jnp.exp(s["lobes"][:, 3] * (cosine - 1.0)) @ s["lobes"][:, 4]
    return ambient * (1.0 - shade) + lamps


def _material(s, hit):
    """Material (n, 4) at each hit."""
    body, along = hit["body"], hit["along"]
    bands = s["bands"][body]
    start, end, soft, amount, slot_from = (bands[:, i] for i in range(5))
    sigmoid = jax.nn.sigmoid
    worn = amount * sigmoid((along - start) / soft) * sigmoid((end - along) / soft)
    into = sigmoid((along - slot_from) / jnp.minimum(0.3 * soft, 0.2))
    face, band, slot = (s["materials"][body, k] for k in range(3))
    blend = face + into[:, None] * (slot - face)
    blend = blend + worn[:, None] * (band - blend)
    stains = s["stains"][body]
    wave = jnp.sin(stains[..., 1] * along[:, None] + stains[..., 2])
    stain = jnp.maximum(1.0 + jnp.sum(stains[..., 0] * wave, axis=-1), 0.2)
    return blend.at[:, BASE].set(jnp.clip(blend[:, BASE] * stain, 0.005, 0.95))


def _scatter(s, hit, out, key):
    """Next direction (n, 3) and the factor that light from there keeps."""
    n = len(out)
    m = _material(s, hit)
    nv, nw = hit["normal"][:, 0], hit["normal"][:, 1]
    # Local axes: along the edge, across on the surface, normal.
    to_local = lambda d: jnp.stack(  # noqa: E731
        [d[:, 0], d[:, 1] * nw - d[:, 2] * nv, d[:, 1] * nv + d[:, 2] * nw], -1
    )
    to_section = lambda d: jnp.stack(  # noqa: E731
        [d[:, 0], d[:, 1] * nw + d[:, 2] * nv, -d[:, 1] * nv + d[:, 2] * nw], -1
    )
    o = to_local(out)
    o = o.at[:, 2].set(jnp.maximum(o[:, 2], 1e-3))
    k1, k2, k3 = jax.random.split(key, 3)
    choice = jax.random.uniform(k1, (n,))
    u = jax.random.uniform(k2, (n, 2))
    alpha_u, alpha_v = m[:, ALPHA_U], m[:, ALPHA_V]
    half = _draw_half(u, alpha_u, alpha_v)
    mirrored = 2.0 * jnp.sum(o * half, -1, keepdims=True) * half - o
    radius, turn = jnp.sqrt(u[:, 0]), 2 * np.pi * u[:, 1]
    matt = jnp.stack([radius * jnp.cos(turn), radius * jnp.sin(turn), jnp.sqrt(1 - u[:, 0])], -1)
    to_lamp = to_local(_draw_lamp(s, u, jax.random.uniform(k3, (n,))))
    shares = jnp.stack([jnp.full(n, 0.35), 0.25 + 0.0 * choice, jnp.full(n, 0.40)])
    i = jnp.where(
        (choice < shares[0])[:, None],
        mirrored,
        jnp.where((choice < shares[0] + shares[1])[:, None], matt, to_lamp),
    )
    cos_i = i[:, 2]
    density = (
        shares[0] * _half_density(o, i, alpha_u, alpha_v)
        + shares[1] * jnp.maximum(cos_i, 0.0) / np.pi
        + shares[2] * _lamp_density(s, to_section(i))
    )
    reflected = _reflectance(o, i, m) * jnp.maximum(cos_i, 0.0)
    weight = jnp.where(cos_i > 1e-4, reflected / jnp.maximum(density, 1e-9), 0.0)
    return to_section(i), jnp.minimum(weight, 20.0)


def _draw_half(u, alpha_u, alpha_v):
    turn = 2 * np.pi * u[:, 0]
    spread = jnp.sqrt(u[:, 1] / jnp.maximum(1 - u[:, 1], 1e-6))
    h = jnp.stack(
        [alpha_u * spread * jnp.cos(turn), alpha_v * spread * jnp.sin(turn), jnp.ones(len(u))], -1
    )
    return h / jnp.linalg.norm(h, axis=-1, keepdims=True)


def _distribution(h, alpha_u, alpha_v):
    q = (h[:, 0] / alpha_u) ** 2 + (h[:, 1] / alpha_v) ** 2 + h[:, 2] ** 2
    return 1.0 / (np.pi * alpha_u * alpha_v * jnp.maximum(q, 1e-9) ** 2)


def _half_density(o, i, alpha_u, alpha_v):
    h = o + i
    h = h / jnp.maximum(jnp.linalg.norm(h, axis=-1, keepdims=True), 1e-6)
    cos_h = jnp.maximum(h[:, 2], 1e-4)
    o_h = jnp.maximum(jnp.abs(jnp.sum(o * h, -1)), 1e-4)
    return jnp.where(i[:, 2] > 0, _distribution(h, alpha_u, alpha_v) * cos_h / (4 * o_h), 0.0)


def _reflectance(o, i, m):
    """GGX with Smith's shadowing, and what is not mirrored by Lambert's law."""
    h = o + i
    h = h / jnp.maximum(jnp.linalg.norm(h, axis=-1, keepdims=True), 1e-6)
    grazing = (1.0 - jnp.clip(jnp.sum(o * h, -1), 0.0, 1.0)) ** 5
    f0 = 0.04 * (1 - m[:, METALLIC]) + m[:, BASE] * m[:, METALLIC]
    fresnel = f0 + (1 - f0) * grazing
    alpha_u, alpha_v = m[:, ALPHA_U], m[:, ALPHA_V]

    def smith(d):
        slope2 = (alpha_u * d[:, 0]) ** 2 + (alpha_v * d[:, 1]) ** 2
        cos2 = jnp.maximum(d[:, 2], 1e-4) ** 2
        return (jnp.sqrt(1.0 + slope2 / cos2) - 1.0) / 2.0

    shadowing = 1.0 / (1.0 + smith(o) + smith(i))
    mirror = _distribution(h, alpha_u, alpha_v) * fresnel * shadowing
    mirror = mirror / (4.0 * o[:, 2] * jnp.maximum(i[:, 2], 1e-4))
    matt = (1 - fresnel) * (1 - m[:, METALLIC]) * m[:, BASE] / np.pi
    return mirror + matt


def _draw_lamp(s, u, choice):
    """A direction towards one of the lobes (von Mises-Fisher)."""
    power = s["lobes"][:, 4] / s["lobes"][:, 3] + 1e-6
    index = jnp.searchsorted(jnp.cumsum(power) / jnp.sum(power), choice)
    lobe = s["lobes"][jnp.minimum(index, LOBES - 1)]
    k = lobe[:, 3]
    spread = u[:, 0] + (1 - u[:, 0]) * jnp.exp(-2 * k)
    cosine = 1.0 + jnp.log(jnp.maximum(spread, 1e-30)) / k
    sine = jnp.sqrt(jnp.maximum(1 - cosine**2, 0.0))
    turn = 2 * np.pi * u[:, 1]
    a = lobe[:, :3]
    other = jnp.where((jnp.abs(a[:, :1]) < 0.8), jnp.array([1.0, 0, 0]), jnp.array([0.0, 1.0, 0]))
    b = jnp.cross(a, other)
    b = b / jnp.linalg.norm(b, axis=-1, keepdims=True)
    c = jnp.cross(a, b)
    around = jnp.cos(turn)[:, None] * b + jnp.sin(turn)[:, None] * c
    return cosine[:, None] * a + sine[:, None] * around


def _lamp_density(s, d):
    power = s["lobes"][:, 4] / s["lobes"][:, 3] + 1e-6
    k = s["lobes"][:, 3]
    peak = k / (2 * np.pi * (1 - jnp.exp(-2 * k)))
    cosine = d @ s["lobes"][:, :3].T
    return (jnp.exp(k * (cosine - 1.0)) * peak) @ (power / jnp.sum(power))
