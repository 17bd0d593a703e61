"""Writes beta.json: mean and the 5 % and 95 % points of Beta(h + 1/2, n - h + 1/2), by
scipy.stats.beta (Debian's python3-scipy). Run it as: python3 beta.py > beta.json"""
import json
import scipy
from scipy.stats import beta

rows = []
for n in (0, 1, 2, 5, 10, 20, 50, 200, 1000):
    for h in sorted({0, 1, n // 4, n // 2, 7 * n // 10, n - 1, n}):
        if 0 <= h <= n:
            d = beta(h + 0.5, n - h + 0.5)
            rows.append({"held": h, "tried": n, "mean": d.mean(), "low": d.ppf(0.05), "high": d.ppf(0.95)})
print(json.dumps({"source": "scipy.stats.beta, scipy " + scipy.__version__, "cases": rows}, indent=1))
