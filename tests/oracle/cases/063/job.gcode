G4 P300
M83 ; filament relative
G1 X-0.05417 Y0.19515 E0.00810
G1 X-0.06482 Y0.19235
G1 X-0.58948 Y10.57345 E0.41577
M204 S1200
M220 S80
G1 X-0.69645 Y10.69705 E0.00654
G1 X-0.77759 Y10.63686 E0.00404
G20
G1 F100
G1 X-0.01074 Y0.43250 E0.00097
G1 X-0.00375 Y0.42331 E0.00046
G1 X-0.16539 Y0.19849 E0.01108
G1 X-0.15515 Y0.20026 E0.00042
G1 X-0.15683 Y0.21159 E0.00046
M220 S100
G0 X-0.16225 Y0.20473
G1 X-0.16291 Y0.20477 E0.00003
G1 X-0.16334 Y0.20542 E0.00003
G1 X-0.16571 Y0.20790 E0.00014
G1 X-0.14420 Y0.22161 E0.00102
G21
G1 F2500
G0 Z0.40000 F600
G1 F3000
G1 X-3.68112 Y5.62769 Z0.500 F3000
G91
G90
G0 Z0.60000 F600
G1 F3000
G1 E0.30000
M220 S80
G1 X-3.38996 Y5.31309 E0.01715
G1 X-3.38395 Y5.33630 E0.00096
g0 X-3.38875 Y5.27946
g0 X-2.82045 Y5.86086
G1 X-3.17462 Y4.90373 E0.04082
G1 X-0.11609 Y9.26908 E0.21321
G1 X-0.33091 Y8.94735 E0.01547
G1 X-0.28428 Y8.95626 E0.00190
G1 X-3.01204 Y9.01200 E0.10913
G3 X-5.088023 Y8.364283 Z0.750 I-1.353487 J0.687327 E0.28455 F4800
G1 X-5.37244 Y8.36428 E0.02823
G1 X0.90233 Y-3.63131 E0.54150
G3 X-8.023684 Y-8.054677 I-3.339132 J-4.479573 E0.49196
G3 X-8.662290 Y-9.310541 I-1.410658 J-0.072978 E0.29601
G0 X-8.64662 Y-9.38601 F3000
G1 X-8.63382 Y-9.39282 E0.00058
G91
G1 X-0.68525 Y-0.35946 E0.03095
M204 P800 T900 R700
M106 S128
g0 X-0.64930 Y0.14973 F3000
G1 E-0.80000
G1 E0.30000
G92 E0
G1 X-3.58567 Y0.00000 E0.23393
G1 X-0.15213 Y-0.05890
G1 X4.73618 Y0.73805 E0.19173
G1 X3.86163 Y-1.80275 E0.17047
G1 X0.00576 Y-0.14895 E0.00596
G1 X-0.05897 Y0.87465 E0.03507 F4800
G1 X4.59210 Y-3.52643 E0.23160
G1 X-7.07502 Y1.88503 E0.29287
G1 X16.12508 Y-4.52049 E0.66987
;xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx
g0 X-14.12785 Y-7.62109
G1 X-0.02889 Y-0.12607 E0.00517
G1 X0.01956 Y-0.03925 E0.00175
M201 X700 Y900
G1 X2.61574 Y-0.32845 E0.10545 F3000
G1 X0.03080 Y0.00958 E0.00129 F9000
G1 X-0.29036 Y-0.66831 E0.02915
G1 X0.00331 Y0.01537 E0.00063
G90
G0 Z0.80000 F600
G1 F3000
G1 X-1.60061 Y-26.57945 E0.09491 F3000
M205 X5 Y6 Z0.3 E2 J0.02
G1 X-17.03065 Y-36.81588 E0.74067
G0 Z1.00000 F600
G1 F3000
G1 X-16.71723 Y-36.68190 E0.01363
G0 X-15.49962 Y-36.21936
G1 X-11.92166 Y-40.35214 E0.21866
G1 X-11.13090 Y-39.98079 E0.03494
G1 X-16.58933 Y-32.45518
G0 Z1.20000 F600
G1 F3000
M105
M220 S0
G1 X-16.59969 Y-32.45969 E0.00045
G2 X-17.339164 Y-35.438499 I1.179040 J-1.873878 E0.42078
G1 X-17.35364 Y-35.42982 E0.00068

G1 X-23.01929 Y-34.79576 E0.22804 F1500
g0 X-22.97164 Y-34.82262
G0 X-26.35619 Y-35.44565
G1 E0.80000
G0 Z1.40000 F600
G1 F3000
