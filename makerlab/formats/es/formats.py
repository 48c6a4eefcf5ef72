"""Spanish as it is written in the United States, Mexico and Central America: a decimal point, as on the ruler and the
printer's screen (Unicode CLDR 46, es-US and es-MX: decimal ".", group ",")."""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3
