"use strict";
/* The probability that a true value lies between two limits, as rigvision decides by it:
   Student's t for whole degrees of freedom by its finite series (Abramowitz and Stegun, 26.7.3 and
   26.7.4), the normal distribution for infinitely many. */
const probability = (() => {
  const NEARLY_NORMAL = 1000;

  /* Area of the normal density from 0 to z: a series for small z, which no digits are lost in. */
  function fromMiddle(z) {
    let term = z;
    let sum = z;
    for (let k = 1; k < 400 && Math.abs(term) > 1e-18 * Math.abs(sum); k += 1) {
      term *= (z * z) / (2 * k + 1);
      sum += term;
    }
    return (sum * Math.exp((-z * z) / 2)) / Math.sqrt(2 * Math.PI);
  }

  /* Area of the normal density beyond z > 0, by a continued fraction (A&S 26.2.14). */
  function tail(z) {
    let below = z;
    for (let k = 300; k >= 1; k -= 1) below = z + k / below;
    return Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI) / below;
  }

  function normal(z) {
    if (z === Infinity) return 1;
    if (z === -Infinity) return 0;
    if (z < -4) return tail(-z);
    if (z > 4) return 1 - tail(z);
    return 0.5 + fromMiddle(z);
  }

  /* Probability that Student's t lies between -t and t, with t's sign. */
  function student(t, freedom) {
    const angle = Math.atan(t / Math.sqrt(freedom));
    const sine = Math.sin(angle);
    const cosine = Math.cos(angle);
    const odd = freedom % 2;
    let term = odd ? cosine : 1;
    let total = 0;
    for (let power = odd; power < freedom - 1; power += 2) {
      total += term;
      term *= (cosine * cosine * (power + 1)) / (power + 2);
    }
    return odd ? (2 / Math.PI) * (angle + sine * total) : sine * total;
  }

  function below(t, freedom) {
    if (!Number.isFinite(t)) return t > 0 ? 1 : 0;
    if (freedom === Infinity) return normal(t);
    if (freedom >= NEARLY_NORMAL) {
      return normal((t * (1 - 0.25 / freedom)) / Math.sqrt(1 + (0.5 * t * t) / freedom));
    }
    return 0.5 + 0.5 * student(t, freedom);
  }

  /* u is the standard uncertainty; freedom may be Infinity. */
  function inside(value, u, freedom, lower, upper) {
    if (u === 0) return lower <= value && value <= upper ? 1 : 0;
    const above = (upper - value) / u;
    const under = (lower - value) / u;
    if (under > 0) return below(-under, freedom) - below(-above, freedom);
    return below(above, freedom) - below(under, freedom);
  }

  /* The density of t, up to a factor: for drawing alone. */
  function density(t, freedom) {
    if (freedom === Infinity) return Math.exp((-t * t) / 2);
    return Math.pow(1 + (t * t) / freedom, -(freedom + 1) / 2);
  }

  return { inside, density };
})();
