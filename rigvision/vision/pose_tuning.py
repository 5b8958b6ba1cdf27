"""Every free choice of the solve of a view."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PoseTuning:
    """Every free choice of the solve."""

    corner_floor_px: float = 0.03  # what fitted borders may err beyond their own statistics
    border_shift_prior_px: float = 0.6  # phones' tone curves and sharpening, path-traced pictures
    # How far a mark's own border shift may be from the common one: light and focus differ from
    # mark to mark, and with them what tone curve and sharpening do (path-traced pictures).
    own_shift_px: float = 0.05
    min_marks: int = 4  # or as many sides of more marks
    #: A mark is refused where a move as a whole, or one side misread, explains its place better
    #: than chance would in one of ten thousand: chi-squared of two coordinates. Where the others
    #: scatter more than they claim, by as much more.
    refuse_chi2: float = 18.4
    suspicious_scatter: float = 1.8  # chi-squared per degree of freedom; 1e-4 of fifty and more
    mend_chi2: float = 27.9  # the same for the six coordinates left without the side misread
    worst_residual_px: float = 1.0  # all marks together; beyond, the drawing does not fit
    steps: int = 60
    subset_steps: int = 5  # of Levenberg and Marquardt, by some of the marks from all's solution
    converged: float = 1e-5  # relative gain of a step that is worth no more
    stuck: float = 1e12  # damping at which no step is left
    #: A focal length less well known than this is started from several, parts of the believed one.
    one_start: float = 0.1
    starts: tuple[float, ...] = (0.35, 0.6, 1.0, 1.8, 3.2)
    #: The same where the centre is known less well than this part of the focal length: those two,
    #: distance and direction then go together along a bent valley, in which steps are short. So
    #: each focal length is held while the rest settles.
    any_centre: float = 0.05
    held: float = 1e-3
    held_starts: tuple[float, ...] = (0.5, 0.63, 0.8, 1.0, 1.26, 1.6, 2.0, 2.5, 3.2)
    valley_converged: float = 1e-8
    own_doubt: float = 1.0  # what the picture tells of a focal length errs by, standard deviations
    told: float = 0.01  # part of what was not known of the camera that the picture tells, at least
    rival_steps: int = 10  # enough to tell how badly the mirrored pose fits
