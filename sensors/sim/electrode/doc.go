// Package electrode is the simulated electrochemistry of a level probe: rods of lead
// in sulphuric acid as a measuring circuit meets them. A rod isn't a resistor. Each
// electrode has a double layer and a potential of its own; a current in one direction
// polarises it, covers it with sulphate and at last turns it into lead dioxide, and
// it then answers with a back voltage of about 2 V.
//
// The numbers come from the literature and share nothing with the drivers:
//
//   - Standard potentials of PbSO₄/Pb and PbO₂/PbSO₄, -0.3588 V and 1.6913 V: CRC
//     Handbook of Chemistry and Physics, "Electrochemical Series".
//   - Exchange currents and transfer coefficients of both reactions: H. Gu, T. V.
//     Nguyen, R. E. White, "A Mathematical Model of a Lead-Acid Cell", J. Electrochem.
//     Soc. 134 (1987), table of parameters (from memory).
//   - Hydrogen on lead: exchange current 1e-12 A/cm² and 120 mV a decade (S. Trasatti,
//     J. Electroanal. Chem. 39 (1972), from memory).
//   - Double layer 30 µF/cm² (metals in strong acid have 20 to 40; from memory).
//   - A lead surface is passive after about 0.1 C/cm² of anodic charge, a layer of
//     sulphate of some tenths of a micrometre (from memory).
//   - Foam conducts a third of its share of liquid (R. Lemlich, J. Colloid Interface Sci.
//     64 (1978), from memory): with a twentieth of acid, about 100 Ω between two rods. So
//     it reads as acid, up to its height.
//   - Conductivity of acid of 1.28 at 25 °C: 0.8 S/cm, 1.5 % more for each kelvin (from
//     memory).
//
// Invented: size of the rods, how fast a film drains (a rod drips for about a minute),
// height of foam, how far acid climbs a rod.
package electrode
