// Package pack is the physics of a flooded lead-acid pack, its charger and the air
// above it. It has no buses, pins or files: other code carries its values to a
// program (a simulated bus, an emulated machine, a campaign of faults). It has no
// clock, and no randomness except the seed of its spread, so the same calls give
// the same pack.
//
// The models deliberately differ from those of the core, so that agreement between
// the two means something.
//
//   - Voltage: the charge and discharge equations of Copetti, Lorenzo and
//     Chenlo, "A general battery model for PV system simulation", Progress in
//     Photovoltaics 1 (1993) 283-292 (coefficients from memory), over a rest
//     voltage from the electrode potentials of Bode, "Lead-Acid Batteries"
//     (1977), at the acid strength of the state of charge. The difference
//     between the papers' zero-current voltages is a slow polarisation that
//     builds up and decays with the time constant of Ceraolo's model.
//   - Gassing: a second branch in parallel with the charge reaction, after
//     Ceraolo, "New dynamical models of lead-acid batteries", IEEE Transactions
//     on Power Systems 15 (2000) 1184-1190, with the traction cell's constants
//     of Barsali and Ceraolo, IEEE Transactions on Energy Conversion 17 (2002)
//     16-23 (from memory). Half of its conductance is used, for cells that are
//     not old: invented. With the two branches a cell can be solved at constant
//     voltage as well as at constant current, and its charge efficiency falls to
//     zero at full, as in Copetti's efficiency equation.
//   - Heat: one lump, Newton cooling; the heat is the energy put in, minus what is
//     stored and what leaves as gas (Bernardi, Pawlikowski and Newman,
//     J. Electrochem. Soc. 132 (1985) 5-12), with 1.48 V as the thermoneutral
//     voltage of water (from memory). Heat capacity 1004 J/(kg K) as in the
//     published storage model of the System Advisor Model; the mass of 36 g for
//     each ampere-hour and cell is common for traction blocks (invented).
//   - Water: Faraday's law, CODATA constants.
//   - Self-discharge: an Arrhenius law through the three published rates of
//     TM 9-6140-200-14, paragraph 4-8c.
//   - Level: acid expands as in the density correlation of Laliberté, J. Chem. Eng.
//     Data 54 (2009) 1725, for 34 to 38 % acid. The gas volume follows from
//     Faraday; how long it stays between the plates (15 s, building up over 4
//     minutes and leaving over 20) is invented. Below the plate tops only a part of
//     the cross-section is liquid: invented.
//   - Level and state of charge: molar volumes of lead, its dioxide and its
//     sulfate (18.3, 25.5 and 48.2 cm³/mol) let the plates swell by 0.98 cm³ for
//     each ampere-hour taken out, and the partial molar volumes of acid and water
//     from the same density correlation let the liquid shrink by 0.84 to
//     1.00 cm³. They cancel within their uncertainty, so there is no such term.
//   - Chargers: a two-stage (IUIa) charger with common settings, and a taper
//     charger whose line goes through the points of DIN 41774 (from memory).
//   - Hydrogen: one well-mixed room, the gas rate from Faraday.
//
// Also invented: the spread between the cells, slosh, the lag of the temperature
// probe, room size and draught, the machine's cut-off voltage.
package pack
