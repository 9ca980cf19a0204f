"""Small invented daily files, laid out as public services document theirs (from memory).

All tell of the same three days, 2024-04-21 to 2024-04-23, with lows of 3.2, -1.1 and 0.4 and highs
of 12.0, 9.4 and 14.8 degrees Celsius; a fourth day is missing or flagged.
"""

LOWS, HIGHS = [3.2, -1.1, 0.4], [12.0, 9.4, 14.8]

CANADA = (
    "\ufeff"
    '"Longitude (x)","Latitude (y)","Station Name","Climate ID","Date/Time","Year","Month","Day",'
    '"Data Quality","Max Temp (°C)","Max Temp Flag","Min Temp (°C)","Min Temp Flag",'
    '"Mean Temp (°C)","Mean Temp Flag","Total Rain (mm)","Total Rain Flag"\n'
    '"-79.22","43.18","QUILL BENCH","6139999","2024-04-21","2024","04","21","","12.0","","3.2","",'
    '"7.6","","0.0",""\n'
    '"-79.22","43.18","QUILL BENCH","6139999","2024-04-22","2024","04","22","","9.4","E","-1.1",'
    '"","4.2","","0.2",""\n'
    '"-79.22","43.18","QUILL BENCH","6139999","2024-04-23","2024","04","23","†","14.8","","0.4","",'
    '"7.6","","",""\n'
    '"-79.22","43.18","QUILL BENCH","6139999","2024-04-24","2024","04","24","","","M","","M","",'
    '"M","",""\n'
)

SUMMARIES = (
    '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES","TMAX",'
    '"TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"\n'
)


def summaries(lows, highs):
    """Return NOAA's daily summaries with temperatures as written."""
    rows = [
        f'"USC00999999","2024-04-{21 + at}","43.1","-79.2","98.0","QUILL BENCH, XX US","    0",'
        f'",,7,0700","{high:>5}",",,7","{low:>5}",",,7,0700"\n'
        for at, (low, high) in enumerate(zip(lows, highs, strict=True))
    ]
    # A low that failed a check of its quality (I: internal consistency), and a missing high.
    rows.append(
        '"USC00999999","2024-04-24","43.1","-79.2","98.0","QUILL BENCH, XX US","","",'
        '"-9999","","   77",",I,7,0700"\n'
    )
    return SUMMARIES + "".join(rows)


def month_line(element, values, month="202404"):
    """Return a line of a GHCN-Daily month: values from the 21st on, each (number, quality flag)."""
    days = [(-9999, " ")] * 20 + values
    days += [(-9999, " ")] * (31 - len(days))
    return f"USC00999999{month}{element}" + "".join(f"{n:>5} {q}7" for n, q in days) + "\n"


MONTHS = (
    month_line("TMAX", [(120, " "), (94, " "), (148, " "), (999, "X")])
    + month_line("TMIN", [(32, " "), (-11, " "), (4, " "), (77, "I")])
    + month_line("PRCP", [(0, " "), (2, " ")])
)

ELEMENTS = (
    "USC00999999,20240421,TMAX,120,,,7,0700\n"
    "USC00999999,20240421,TMIN,32,,,7,0700\n"
    "USC00999999,20240421,PRCP,0,,,7,0700\n"
    "USC00999999,20240422,TMAX,94,,,7,0700\n"
    "USC00999999,20240422,TMIN,-11,,,7,0700\n"
    "USC00999999,20240423,TMIN,4,,,7,0700\n"
    "USC00999999,20240423,TMAX,148,,,7,0700\n"
    "USC00999999,20240424,TMIN,-400,,X,7,0700\n"
)

DWD = (
    "STATIONS_ID;MESS_DATUM;QN_3;  FX;  FM;QN_4; RSK;RSKF; SDK;SHK_TAG;  NM; VPM;  PM; TMK; UPM;"
    " TXK; TNK; TGK;eor\n"
    "       9999;20240421;   10;  11.3;   3.1;    9;   0.0;   0;   5.1;   0;   4.9;   8.1;1013.00;"
    "   7.6;  77.00;  12.0;   3.2;   1.8;eor\n"
    "       9999;20240422;   10;  11.3;   3.1;    9;   0.2;   6;   5.1;   0;   4.9;   8.1;1013.00;"
    "   4.2;  77.00;   9.4;  -1.1;  -3.0;eor\n"
    "       9999;20240423;   10;-999;-999;    9;   0.0;   0;   5.1;-999;   4.9;   8.1;1013.00;"
    "   7.6;  77.00;  14.8;   0.4;  -1.0;eor\n"
    "       9999;20240424; -999;-999;-999; -999;-999;-999;-999;-999;-999;-999;-999;-999;-999;-999;"
    "-999;-999;eor\n"
)

FRANCE = (
    "NUM_POSTE;NOM_USUEL;LAT;LON;ALTI;AAAAMMJJ;RR;QRR;TN;QTN;HTN;QHTN;TX;QTX;HTX;QHTX;TM;QTM\n"
    "99001001;QUILL;47.1;4.9;219;20240421;0.0;1;3.2;1;523;9;12.0;1;1421;9;7.6;1\n"
    "99001001;QUILL;47.1;4.9;219;20240422;0.2;1;-1.1;1;541;9;9.4;0;1502;9;4.2;1\n"
    "99001001;QUILL;47.1;4.9;219;20240423;;;0.4;9;;;14.8;1;1450;9;7.6;1\n"
    "99001001;QUILL;47.1;4.9;219;20240424;;;-9.9;2;;;;;;;;\n"
    "99002002;OTHER;47.3;5.0;300;20240421;0.0;1;1.0;1;523;9;9.0;1;1421;9;5.0;1\n"
)

FAHRENHEIT = [37.8, 30.0, 32.7], [53.6, 48.9, 58.6]

LOGGER = "Date;T min (°F);T max (°F)\n" + "".join(
    f"{21 + at}.04.2024;{str(low).replace('.', ',')};{str(high).replace('.', ',')}\n"
    for at, (low, high) in enumerate(zip(*FAHRENHEIT, strict=True))
)
