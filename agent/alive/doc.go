// Package alive follows whether each sensor of a bay shows that it lives. A reading that
// does not move when it must is as doubtful as a broken wire: bay makes it a fault,
// reading.NotMoving or reading.Exchanged, and the findings about unknown readings block.
//
// What must move, and by how much, is in the constants of level.go, warmth.go and
// electric.go with their sources. In short:
//
//   - The level of a probe that measures must move by 0.4 mm in the rest after a charge
//     that gassed, once the pack has cooled so far that half of its contraction and a
//     tenth of gas_hold_up_mm make 0.5 mm; and when half of the water lost since its last
//     movement, less all that heat can hide, makes 1 mm. During a charge nothing is
//     demanded: heat and gas lift what the loss of water lowers. After a recorded fill of
//     the pilot cell it must rise by two fifths of what was poured. Rods must change
//     state when seven tenths of a fill pass one.
//   - The pack's thermometer must move by 0.3 °C, and by 0.5 °C against the air, when a
//     charge has brought heat for 2 °C in the heaviest pack, less what any pack loses
//     in three hours. That is 60 to 100 Ah in a pack of 225 Ah.
//   - The air may not get 5 °C warmer than the pack, and rise by 5 °C, while the pack is
//     charged and warms less than demanded; nor may its slope fall when a charge ends,
//     and the pack's not: the thermometers are exchanged.
//   - The air may not stay within 0.13 °C for three days.
//   - The voltage may not rise from rest to 2.35 V a cell and stay for ten minutes while
//     the current never moves; nor fall by 80 mV at once while the current stays.
//   - The voltage must move by 5 mV a cell within ten minutes after a current of a
//     twentieth of the capacity begins or ends.
//
// A doubt ends when the sensor moves: the level by 2 mm, the pack's thermometer by 2 °C
// (in a hand) and not only with the air, the air's by 0.13 °C, the voltage by 20 mV a
// cell, a current that is shown again where none was, or the end of one that was shown
// always. The level's doubt also ends when a reading of the pilot cell with a level rod
// agrees within 3 mm. Every other doubt ends on trial with a release, the order of a
// person who has looked: the next charge proves the sensor or doubts it again. Exchanged
// thermometers need that release. The level's doubt never ends by an order alone: what is
// at stake is a battery, and a look with the rod takes a minute.
//
// Doubts and proofs are stored. They go with a pack where the sensor does, the probe in
// a bay for several packs and a thermometer that names its pack, and stay with the bay
// otherwise. All times are counted, not noted, so a power cut neither forgets nor
// repeats any.
//
// What is found, how soon, and what is not, is the table in sensors.md.
package alive
