"""Photos of the rig with known truth, drawn by a path of their own.

Nothing here uses the code that reads photos: rays, distortion, edges and the barrel are
computed anew, so that a mistake made there cannot cancel itself here.
"""

from rigvision.synthetic.camera import PhoneCamera
from rigvision.synthetic.case import ZONES, Case, random_case
from rigvision.synthetic.photograph import Photograph, make_photo, write_photo
from rigvision.synthetic.scene import Grime, Light, Scene, Surfaces, ideal_scene, random_scene

__all__ = [
    "ZONES",
    "Case",
    "Grime",
    "Light",
    "PhoneCamera",
    "Photograph",
    "Scene",
    "Surfaces",
    "ideal_scene",
    "make_photo",
    "random_case",
    "random_scene",
    "write_photo",
]
