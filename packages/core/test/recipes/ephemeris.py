#!/usr/bin/python3
"""Reference figures for the ephemeris, from implementations that share no code with the library. From the root:
  /usr/bin/python3 packages/core/test/recipes/ephemeris.py > packages/core/test/recipes/ephemeris.json
(Then: npx biome check --write on the JSON.) Needs Debian's python3-ephem python3-astropy.
Nothing here is published: all is computed, by
- libastro (PyEphem): "libastro" of every row: topocentric apparent place, altitude, azimuth; geocentric libration and colongitude;
- astropy with ERFA's own ephemeris (moon98 after ELP2000, epv00): "erfa": topocentric apparent place and distance;
- and this file: "meeus": libration with its physical part, axis, bright limb, sub-solar point and phase after Meeus, Astronomical
  Algorithms (1998), ch. 48 and 53, heliographic coordinates after ch. 29, on ERFA's places. It checks itself against the
  published examples 53.a and 29.a."""
import json, sys, warnings
import astropy, ephem, erfa
import numpy as np
import astropy.units as u
from astropy.coordinates import EarthLocation, TETE, AltAz, get_body, solar_system_ephemeris
from astropy.time import Time
from astropy.utils import iers

warnings.simplefilter('ignore')
iers.conf.auto_download = False
iers.conf.iers_degraded_accuracy = 'ignore'
solar_system_ephemeris.set('builtin')

SITES = [
    dict(name='plain in the north', latitudeDeg=52.4, longitudeDeg=13.1, heightM=40),
    dict(name='high desert in the south', latitudeDeg=-24.6, longitudeDeg=-70.4, heightM=2635),
    dict(name='island mountain near the tropic', latitudeDeg=19.82, longitudeDeg=-155.47, heightM=4205),
    dict(name='equator', latitudeDeg=0.05, longitudeDeg=100.3, heightM=5),
    dict(name='beyond the polar circle', latitudeDeg=69.6, longitudeDeg=18.9, heightM=100),
    dict(name='far south', latitudeDeg=-45.0, longitudeDeg=170.5, heightM=350),
]
# One every three years, all phases and hours.
DATES = [f'{1990 + 3 * k + k // 10}-{1 + (5 * k) % 12:02d}-{1 + (11 * k) % 28:02d}T{(7 * k + 1) % 24:02d}:{(13 * k) % 60:02d}:00Z'
         for k in range(20)]
PLANETS = ['Mercury', 'Venus', 'Mars', 'Jupiter', 'Saturn', 'Uranus', 'Neptune']
D = np.pi / 180
sin, cos, atan2 = np.sin, np.cos, np.arctan2


def angles(jde):
    t = (jde - 2451545.0) / 36525
    return dict(
        t=t,
        F=93.2720950 + 483202.0175233 * t - 0.0036539 * t**2,
        node=125.0445479 - 1934.1362891 * t + 0.0020754 * t**2,
        M=357.5291092 + 35999.0502909 * t - 0.0001536 * t**2,
        m=134.9633964 + 477198.8675055 * t + 0.0087414 * t**2,
        D=297.8501921 + 445267.1114034 * t - 0.0018819 * t**2,
        E=1 - 0.002516 * t - 0.0000074 * t**2)


def physical(a):
    m, F, dd, M, node, t, e = (a[k] * (D if k not in 'tE' else 1) for k in ('m', 'F', 'D', 'M', 'node', 't', 'E'))
    k1, k2 = (119.75 + 131.849 * t) * D, (72.56 + 20.186 * t) * D
    rho = (-.02752 * cos(m) - .02245 * sin(F) + .00684 * cos(m - 2 * F) - .00293 * cos(2 * F) - .00085 * cos(2 * F - 2 * dd)
           - .00054 * cos(m - 2 * dd) - .0002 * sin(m + F) - .0002 * cos(m + 2 * F) - .0002 * cos(m - F) + .00014 * cos(m + 2 * F - 2 * dd))
    sigma = (-.02816 * sin(m) + .02244 * cos(F) - .00682 * sin(m - 2 * F) - .00279 * sin(2 * F) - .00083 * sin(2 * F - 2 * dd)
             + .00069 * sin(m - 2 * dd) + .0004 * cos(m + F) - .00025 * sin(2 * m) - .00023 * sin(m + 2 * F) + .0002 * cos(m - F)
             + .00019 * sin(m - F) + .00013 * sin(m + 2 * F - 2 * dd) - .0001 * cos(m - 3 * F))
    tau = (.0252 * e * sin(M) + .00473 * sin(2 * m - 2 * F) - .00467 * sin(m) + .00396 * sin(k1) + .00276 * sin(2 * m - 2 * dd)
           + .00196 * sin(node) - .00183 * cos(m - F) + .00115 * sin(m - 2 * dd) - .00096 * sin(m - dd) + .00046 * sin(2 * F - 2 * dd)
           - .00039 * sin(m - F) - .00032 * sin(m - M - dd) + .00027 * sin(2 * m - M - 2 * dd) + .00023 * sin(k2) - .00014 * sin(2 * dd)
           + .00014 * cos(2 * m - 2 * F) - .00012 * sin(m - 2 * F) - .00012 * sin(2 * m) + .00011 * sin(2 * m - 2 * M - 2 * dd))
    return rho, sigma, tau


I = 1.54242 * D


def selenographic(lam, beta, nutation, a):
    """Libration (l, b) for an observer, or a Sun, that sees the Moon at ecliptic lam, beta of date (degrees)."""
    rho, sigma, tau = physical(a)
    w, b = (lam - nutation - a['node']) * D, beta * D
    A = atan2(sin(w) * cos(b) * cos(I) - sin(b) * sin(I), cos(w) * cos(b))
    optical_l = A / D - a['F']
    optical_b = np.arcsin(-sin(w) * cos(b) * sin(I) - sin(b) * cos(I))
    l = optical_l - tau + (rho * cos(A) + sigma * sin(A)) * np.tan(optical_b)
    return (l + 180) % 360 - 180, optical_b / D + sigma * cos(A) - rho * sin(A)


def axis_angle(alpha, b, nutation, eps, a):
    rho, sigma, _ = physical(a)
    v = (a['node'] + nutation + sigma / sin(I)) * D
    i = I + rho * D
    x, y = sin(i) * sin(v), sin(i) * cos(v) * cos(eps) - cos(i) * sin(eps)
    return np.arcsin(np.hypot(x, y) * cos(alpha * D - atan2(x, y)) / cos(b * D)) / D


def heliographic(jde, sun_lam, nutation, eps):
    theta, i = (jde - 2398220) * 360 / 25.38, 7.25 * D
    k = (73.6667 + 1.3958333 * (jde - 2396758) / 36525) * D
    apparent, lam = sun_lam * D, (sun_lam - nutation) * D
    x, y = np.arctan(-cos(apparent) * np.tan(eps)), np.arctan(-cos(lam - k) * np.tan(i))
    eta = atan2(-sin(lam - k) * cos(i), -cos(lam - k))
    return dict(P=(x + y) / D, B0=np.arcsin(sin(lam - k) * sin(i)) / D, L0=(eta / D - theta) % 360)


def ecliptic(ra, dec, eps):
    ra, dec = ra * D, dec * D
    return (atan2(sin(ra) * cos(eps) + np.tan(dec) * sin(eps), cos(ra)) / D % 360,
            np.arcsin(sin(dec) * cos(eps) - cos(dec) * sin(eps) * sin(ra)) / D)


def check():
    """Examples 53.a (0.01 degrees) and 29.a (0.01 degrees) of Meeus 1998."""
    a = angles(2448724.5)
    l, b = selenographic(133.167265, -3.229127, 0.004610, a)
    assert abs(l + 1.23) < .01 and abs(b - 4.20) < .01, (l, b)
    P = axis_angle(134.688473, b, 0.004610, 23.440636 * D, a)
    assert abs(P - 15.08) < .01, P
    sun = 22.33978 + 180 + 368406 / (1.0024977 * 149597870) / D * cos(-3.229127 * D) * sin((22.33978 - 133.167265) * D)
    l0, b0 = selenographic(sun, 368406 / (1.0024977 * 149597870) * -3.229127, 0.004610, a)
    assert abs(l0 - 67.89) < .01 and abs(b0 - 1.46) < .01, (l0, b0)
    h = heliographic(2448908.50068, 199.906016, 0.004419, 23.440144 * D)
    assert abs(h['P'] - 26.27) < .01 and abs(h['B0'] - 5.99) < .01 and abs(h['L0'] - 238.63) < .02, h


def apparent(name, time, where):
    c = get_body(name, time, where)
    p = c.transform_to(TETE(obstime=time, location=where))
    return p.ra.deg, p.dec.deg, p.distance.to(u.km).value


def round_all(v):
    return {k: round(float(x), 5) for k, x in v.items()}


def observer(date, s):
    o = ephem.Observer()
    o.lat, o.lon, o.elevation, o.pressure = str(s['latitudeDeg']), str(s['longitudeDeg']), s['heightM'], 0
    o.date = date.replace('T', ' ').replace('Z', '').replace('-', '/')
    return o


def row(date, index):
    s = SITES[index]
    o = observer(date, s)
    m, sun = ephem.Moon(o), ephem.Sun(o)
    time = Time(date.replace('Z', ''), scale='utc')
    where = EarthLocation.from_geodetic(s['longitudeDeg'], s['latitudeDeg'], s['heightM'])
    ra, dec, km = apparent('moon', time, where)
    sun_ra, sun_dec, sun_km = apparent('sun', time, where)
    jde = time.tt.jd
    a = angles(jde)
    dpsi, deps = erfa.nut06a(jde, 0)
    eps, nutation = erfa.obl06(jde, 0) + deps, dpsi / D
    lam, beta = ecliptic(ra, dec, eps)
    sun_lam, sun_beta = ecliptic(sun_ra, sun_dec, eps)
    l, b = selenographic(lam, beta, nutation, a)
    ratio = km / sun_km
    sub_l, sub_b = selenographic(sun_lam + 180 + ratio / D * cos(beta * D) * sin((sun_lam - lam) * D), ratio * beta, nutation, a)
    psi = np.arccos(sin(sun_dec * D) * sin(dec * D) + cos(sun_dec * D) * cos(dec * D) * cos((sun_ra - ra) * D))
    i = atan2(sun_km * sin(psi), km - sun_km * cos(psi))
    chi = atan2(cos(sun_dec * D) * sin((sun_ra - ra) * D),
                sin(sun_dec * D) * cos(dec * D) - cos(sun_dec * D) * sin(dec * D) * cos((sun_ra - ra) * D))
    helio = heliographic(jde, sun_lam, nutation, eps)
    return dict(
        date=date, site=index,
        libastro=round_all(dict(rightAscensionDeg=m.ra / D, declinationDeg=m.dec / D, altitudeDeg=m.alt / D, azimuthDeg=m.az / D,
                                sunRightAscensionDeg=sun.ra / D, sunDeclinationDeg=sun.dec / D, sunAltitudeDeg=sun.alt / D,
                                librationLongitudeDeg=m.libration_long / D, librationLatitudeDeg=m.libration_lat / D,
                                colongitudeDeg=m.colong / D, subSolarLatitudeDeg=m.subsolar_lat / D)),
        erfa=round_all(dict(rightAscensionDeg=ra, declinationDeg=dec, distanceKm=km)),
        meeus=round_all(dict(longitudeDeg=l, latitudeDeg=b, axisDeg=axis_angle(ra, b, nutation, eps, a) % 360,
                             brightLimbDeg=chi / D % 360, subSolarLongitudeDeg=sub_l, subSolarLatitudeDeg=sub_b,
                             phaseAngleDeg=i / D, illuminatedFraction=(1 + cos(i)) / 2,
                             sunAxisDeg=helio['P'] % 360, sunB0Deg=helio['B0'], sunL0Deg=helio['L0'])))


def planet_row(date, index, name):
    p = getattr(ephem, name)(observer(date, SITES[index]))
    return dict(date=date, site=index, body=name, **round_all(dict(
        rightAscensionDeg=p.ra / D, declinationDeg=p.dec / D, distanceKm=p.earth_distance * ephem.meters_per_au / 1000,
        diameterArcsec=p.size, illuminatedFraction=p.phase / 100)))


check()
json.dump(dict(
    made=f'ephemeris.py with PyEphem {ephem.__version__} (libastro), astropy {astropy.__version__}, pyerfa {erfa.__version__}',
    sites=SITES, rows=[row(d, k) for d in DATES for k in range(len(SITES))],
    planets=[planet_row(d, k % 6, PLANETS[k % 7]) for k, d in enumerate(DATES)]), sys.stdout, indent=1)
