"""How files end that may hold exports or registers; here, as what starts quickly loads none of their readers."""

TABLES = (".csv", ".txt", ".asc", ".dat", ".tsv", ".xyz")
WORKBOOKS, PACKAGES, VECTORS = (".xlsx", ".xlsm"), (".gpkg",), (".geojson", ".json", ".shp")
