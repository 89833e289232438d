"""A proven upper bound on the area of the largest egg in a piece of land.

**Notation.** K = O + R E is an egg with the centre O of its big end, the axis turned by theta against the x axis, and
the unit egg E of shape p = 1 - taper, q = 2 (aspect - 1); a(p, q) is the area of E, h its support function, r its
radial function, both by the angle from the axis (curvature.py). z = (x, y, theta, p, q) is an egg without its size, t
= log(R^2 a) its log area, s the clearance: K + B_s, with B_s the disc of radius s, must lie in the land. h >= 1, so O
+ R B_1 lies in K.

**1. Obstacles.** Let P be a point of the land's boundary and |Y - P| <= s. No K that fits has Y in its interior: else
P were interior to K + B_s, which lies in the land. K is star-shaped about O, so R <= |Y - O| / r(psi - theta), psi
being the direction of Y - O::

    t <= f_Y(z) = 2 log |Y - O| + w_point(psi - theta, p, q) + log a(p, q),     w_point = -2 log r                (1)

**2. Lines.** An edge of the boundary from A along the unit vector tau, land on its left, outward normal n; its line is
moved outward by delta, 10^-8 of the smallest radius of interest, so that rounding of corners cannot spoil what follows.
T(O) = n (A - O) + delta - s. Where T(O) > 0, the egg of scale R* = T / h(phi_n - theta) has its strip touch that line
in a point X*, at tau (O - A) + T h'/h along it. Then R <= R*, if a stretch of outline

(a) is met, followed from either end of the edge, without turning back along the line,
(b) stays on the land's side of the moved line, within the distance H of it,
(c) reaches along the line at least from where O is to where X* is, and
(d) O is farther than H from the line.

For with R > R* the segment O X* would lie in the interior of the strip, as the eggs about one O lie in each other's
interior and all of them are convex; it leads from above the stretch to a point on or below it, without leaving its
reach along the line, and so meets it: a point of the land's boundary in the interior of what lies in the land. Also,
if no corner of the land lies beyond the line, all land is on its near side and R <= R* always. Where one of the two
holds for all z of a box::

    t <= f_E(z) = 2 log T(O) + w_line(phi_n - theta, p, q) + log a(p, q),       w_line = -2 log h                (2)

**3. Second-order bound on a box.** z = c + dz, |dz_j| <= w_j. For weights u_e >= 0 with sum 1 over any constraints
valid on the box::

    t <= sum_e u_e f_e(z) = v + g dz + dz' H dz / 2,   v = sum u_e f_e(c),  g = sum u_e grad f_e(c)              (3)

with H = sum u_e H_e at a point between. (f_e is once differentiable with pieces that are twice so; along the segment
from c to z its gradient is Lipschitz, Taylor's formula with integral remainder holds, and the mean of Hessians stays
in their interval hull.) H is enclosed entry by entry: the tables of curvature.py enclose the second derivatives of
w_line and w_point over all angles the box can show; for (1) with w = Y - O as a complex number::

    Hess 2 log |w| = -2 Re(dO^2 / w^2),   grad psi = -Im(dO / w),   Hess psi = -Im(dO^2 / w^2)                   (4)

are enclosed by discs about 1 / w and 1 / w^2; for (2) T is linear in O. Off the diagonal, for any rho > 0,
H_ij dz_i dz_j <= |H_ij| (rho dz_i^2 + dz_j^2 / rho) / 2, which leaves one variable at a time::

    t <= v + sum_j max over |x| <= w_j of (|g_j| |x| + C_j x^2 / 2)                                              (5)

(5) holds whatever the weights u and the ratios rho are. The weights come from the linear programme that (3) is
without H, solved by the simplex method; its arithmetic needs no trust. Constraints may be left out freely.

**4. Cover.** An egg of more than the best area known has R >= R0 = sqrt(best / a(p_min, q_max)), since a falls with p
and rises with q. The disc of radius R + s about O lies in the land, so O is at least R0 + s inside; a square whose
centre has less than that minus half its diagonal holds no such O. The squares left, the full circle of theta and the
ranges of p and q are the first boxes. On each box also t <= 2 log(D + half diagonal - s) + log a(p_min, q_max of the
box), D the distance of its centre from the boundary. A small end of at least r_min means t >= 2 log(r_min / k) + log
a; a box whose bound is less than the least of that holds nothing.

**5. Narrowing.** Let T be the log of the best area known, or what step 4 makes of r_min if that is more. For any
weights, (5) with the maximum over x_j left open bounds t by that function of x_j alone, as the other maxima do not
depend on it. Where it is below T, the box holds nothing that matters::

    v + sum_(i != j) max over |x| <= w_i of (|g_i| |x| + C_i x^2 / 2) + g_j x_j + C_j x_j^2 / 2 < T                (6)

so each unknown may be limited to the smallest interval that holds the rest of its range, the roots of a quadratic.
Limits from several weights and for several unknowns hold together, since each is necessary. The weights are those of
the linear programmes that ask for the largest and the least x_j of all z with v_e + g_e z >= T; again their arithmetic
needs no trust. What is left of a box is bounded again with its smaller widths, a few times. p and q are halved only,
while their tables have finer cells.

**6. Branch and bound.** The box of largest bound is halved across the unknown that accounts for most of what (5)
loses, until that bound is within the tolerance of the best area, or the budget is spent. Every egg that fits is in a
box left over, or in a part of one that was shown to hold none larger than the best area known: the larger of the two
numbers bounds its area.

Rounding: what is computed is of the order of 10^-13 relative; tables are widened by 10^-9 and the result by 10^-7.
"""

from packpale.enclosure.proof.search import BoundResult, area_bound

__all__ = ["BoundResult", "area_bound"]
