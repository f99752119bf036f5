"""All layers in one GeoPackage in the working CRS, each with the style a desktop GIS applies on opening."""

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import geopandas as gpd
import pyogrio

_STYLE_TABLE = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
  f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
  useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),
  update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))
"""
_CONTENTS_ROW = (
    "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
    "VALUES ('layer_styles', 'attributes', 'layer_styles', 'Default styles', strftime('%Y-%m-%dT%H:%M:%fZ','now'))"
)
_STYLE_ROW = (
    "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, styleQML, "
    "styleSLD, useAsDefault, description) VALUES ('', '', ?, 'geom', ?, ?, ?, 1, ?)"
)

_VERSION = "1.2"
"""Of the GeoPackage standard: what tools of recent years read without complaint, and nothing newer is needed."""

Classes = Mapping[str, str]
"""Value of the styled attribute to colour, in legend order."""


def write_geopackage(
    path: Path, layers: Mapping[str, gpd.GeoDataFrame], styles: Mapping[str, tuple[str, Classes]]
) -> None:
    """Write every layer, then its default style.

    Parameters
    ----------
    layers : Mapping
        Layer name to features, all in the working CRS; empty layers are written with their columns.
    styles : Mapping
        Layer name to the attribute that is coloured ("" = one colour for all) and the colour of each value.
    """
    kinds = {"probes": "Point"}
    for name, layer in layers.items():
        pyogrio.write_dataframe(
            layer, path, layer=name, driver="GPKG", geometry_type=kinds.get(name, "MultiPolygon"),
            promote_to_multi=name not in kinds, append=path.exists(),
            dataset_options={} if path.exists() else {"VERSION": _VERSION},
        )  # fmt: skip
    with closing(sqlite3.connect(path)) as base, base:
        base.execute(_STYLE_TABLE)
        base.execute(_CONTENTS_ROW)
        for name, (attribute, classes) in styles.items():
            kind = "marker" if name in kinds else "fill"
            base.execute(
                _STYLE_ROW, (name, name, _qml(attribute, classes, kind), _sld(name, attribute, classes, kind), name)
            )


def _qml(attribute: str, classes: Classes, kind: str) -> str:
    """Minimal style document with one symbol a class."""
    single = not attribute
    head = (
        '<renderer-v2 type="singleSymbol">'
        if single
        else f'<renderer-v2 type="categorizedSymbol" attr={quoteattr(attribute)}><categories>'
        + "".join(
            f'<category symbol="{k}" value={quoteattr(value)} label={quoteattr(value)} render="true"/>'
            for k, value in enumerate(classes)
        )
        + "</categories>"
    )
    symbols = "".join(_qml_symbol(k, colour, kind) for k, colour in enumerate(classes.values()))
    return f'<qgis version="3.28.0">{head}<symbols>{symbols}</symbols></renderer-v2></qgis>'


def _qml_symbol(number: int, colour: str, kind: str) -> str:
    rgba = ",".join(str(int(colour[k : k + 2], 16)) for k in (1, 3, 5)) + ",255"
    options = {"color": rgba, "outline_color": "60,60,60,255", "outline_width": "0.3", "outline_width_unit": "MM"}
    options |= {"style": "solid"} if kind == "fill" else {"name": "circle", "size": "2"}
    drawn = "".join(f'<Option type="QString" name="{key}" value="{value}"/>' for key, value in options.items())
    layer = "SimpleFill" if kind == "fill" else "SimpleMarker"
    return (
        f'<symbol type="{kind}" name="{number}" alpha="1"><layer class="{layer}" enabled="1" pass="0" locked="0">'
        f'<Option type="Map">{drawn}</Option></layer></symbol>'
    )


def _sld(layer: str, attribute: str, classes: Classes, kind: str) -> str:
    """Same style as an OGC Styled Layer Descriptor 1.0.0."""
    rules = "".join(_sld_rule(attribute, value, colour, kind) for value, colour in classes.items())
    return (
        '<StyledLayerDescriptor version="1.0.0" xmlns="http://www.opengis.net/sld" '
        'xmlns:ogc="http://www.opengis.net/ogc"><NamedLayer>'
        f"<Name>{escape(layer)}</Name><UserStyle><FeatureTypeStyle>{rules}</FeatureTypeStyle></UserStyle>"
        "</NamedLayer></StyledLayerDescriptor>"
    )


def _sld_rule(attribute: str, value: str, colour: str, kind: str) -> str:
    where = (
        f"<ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>{escape(attribute)}</ogc:PropertyName>"
        f"<ogc:Literal>{escape(value)}</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>"
        if attribute
        else ""
    )
    fill = f'<Fill><CssParameter name="fill">{colour}</CssParameter></Fill>'
    stroke = '<Stroke><CssParameter name="stroke">#3c3c3c</CssParameter></Stroke>'
    symbol = (
        f"<PolygonSymbolizer>{fill}{stroke}</PolygonSymbolizer>"
        if kind == "fill"
        else "<PointSymbolizer><Graphic><Mark><WellKnownName>circle</WellKnownName>"
        f"{fill}</Mark><Size>6</Size></Graphic></PointSymbolizer>"
    )
    return f"<Rule><Title>{escape(value)}</Title>{where}{symbol}</Rule>"
