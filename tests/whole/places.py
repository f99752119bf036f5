"""Places on earth to lay a paddock in: positions, the CRS files come in, and CRSs to work in."""

from dataclasses import dataclass

import numpy as np
import pyproj


@dataclass(frozen=True, kw_only=True)
class Place:
    """A region of invented paddocks."""

    name: str
    west: float
    south: float
    east: float
    north: float
    """Degrees in which the middle of the paddock is drawn."""
    geographic: int
    """EPSG code of the datum that its files are on."""
    working: tuple[int, ...]
    """Codes one may set as paddock.crs beside "auto"."""
    file_crs: tuple[int, ...] = ()
    """Projected codes its files also come in."""
    other_datum: int | None = None
    """Geographic code that probes may be in instead."""

    def middle(self, rng: np.random.Generator) -> tuple[float, float]:
        """Longitude and latitude of a paddock's middle."""
        return float(rng.uniform(self.west, self.east)), float(rng.uniform(self.south, self.north))

    def plane(self, longitude: float, latitude: float) -> pyproj.CRS:
        """Metric plane around a point on the datum of this place, in which the paddock is drawn."""
        datum = pyproj.CRS.from_epsg(self.geographic)
        conversion = pyproj.crs.coordinate_operation.TransverseMercatorConversion(
            latitude_natural_origin=latitude, longitude_natural_origin=longitude, scale_factor_natural_origin=1.0
        )
        return pyproj.crs.ProjectedCRS(conversion=conversion, geodetic_crs=datum, name="drawing plane")


PLACES = (
    Place(
        name="west of Australia", west=116.5, south=-33.5, east=119.5, north=-29.0, geographic=7844,
        working=(7850,), file_crs=(7850, 28350), other_datum=4283,
    ),
    Place(
        name="west of Australia, older datum", west=120.5, south=-33.0, east=123.5, north=-30.0, geographic=4283,
        working=(28351, 3577), file_crs=(28351,), other_datum=4326,
    ),
    Place(
        name="edge of two zones, south", west=119.995, south=-32.0, east=120.005, north=-31.0, geographic=4326,
        working=(32750, 32751), file_crs=(32750, 3857),
    ),
    Place(
        name="pampa", west=-62.5, south=-36.0, east=-60.5, north=-32.0, geographic=4326,
        working=(32720, 5345), file_crs=(32720,), other_datum=5340,
    ),
    Place(
        name="south of Brazil", west=-53.5, south=-29.0, east=-51.5, north=-26.0, geographic=4674,
        working=(31982,), file_crs=(31982,), other_datum=4326,
    ),
    Place(
        name="highveld", west=28.5, south=-28.0, east=29.5, north=-26.0, geographic=4148,
        working=(2053,), file_crs=(), other_datum=4326,
    ),
    Place(
        name="New Zealand", west=171.0, south=-44.5, east=172.5, north=-43.3, geographic=4167,
        working=(2193,), file_crs=(2193,), other_datum=4326,
    ),
    Place(
        name="equator", west=36.2, south=-0.004, east=37.8, north=0.004, geographic=4326,
        working=(32637, 32737), file_crs=(32737,),
    ),
    Place(
        name="plain of the north of Germany", west=12.5, south=52.0, east=14.0, north=53.5, geographic=4258,
        working=(25833, 3035), file_crs=(25833, 25832), other_datum=4326,
    ),
    Place(
        name="edge of two zones, north", west=11.995, south=50.0, east=12.005, north=52.0, geographic=4326,
        working=(32632, 32633), file_crs=(32633,),
    ),
    Place(
        name="high north", west=18.5, south=69.0, east=25.0, north=70.2, geographic=4258,
        working=(25834, 25835, 25833), file_crs=(25834,), other_datum=4326,
    ),
    Place(
        name="Iceland", west=-21.5, south=63.6, east=-19.0, north=65.0, geographic=8086,
        working=(8088,), file_crs=(8088,), other_datum=4326,
    ),
    Place(
        name="east of England", west=-0.5, south=52.0, east=0.6, north=53.0, geographic=4277,
        working=(27700,), file_crs=(27700,), other_datum=4326,
    ),
    Place(
        name="south-east of the United States", west=-86.5, south=30.7, east=-84.5, north=32.5, geographic=4269,
        working=(26916, 5070), file_crs=(26916, 2238), other_datum=4326,
    ),
    Place(
        name="prairie", west=-114.5, south=50.0, east=-112.0, north=53.0, geographic=4617,
        working=(2955, 2956), file_crs=(2955,), other_datum=4326,
    ),
    Place(
        name="north of France", west=2.0, south=48.5, east=4.0, north=50.0, geographic=4171,
        working=(2154,), file_crs=(2154,), other_datum=4326,
    ),
    Place(
        name="the Deccan", west=76.0, south=17.0, east=78.0, north=20.0, geographic=4326,
        working=(32643,), file_crs=(32643, 3857),
    ),
)  # fmt: skip


def place_named(name: str) -> Place:
    """The place of that name."""
    return next(place for place in PLACES if place.name == name)
