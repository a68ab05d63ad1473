package electrode

import "math"

const (
	pbV  = -0.3588 // of PbSO4/Pb against the hydrogen electrode
	pbO2 = 1.6913  // of PbO2/PbSO4
	// formedV is where lead dioxide forms or holds an electrode, against PbSO4/Pb.
	formedV = pbO2 - pbV

	perVolt = 38.92 // F/RT at 25 °C

	pbA, pbAnodic, pbCathodic             = 4.96e-6, 1.55, 0.45 // A/cm², transfer coefficients
	dioxideA, dioxideAnodic, dioxideCatho = 3.19e-7, 1.15, 0.85
	hydrogenA, hydrogenDecadeV            = 1e-12, 0.120

	layerF      = 30e-6 // F/cm²
	passiveC    = 0.1   // C/cm² that cover the surface with sulphate
	freshC      = 0.02  // C/cm² of sulphate on a rod that has stood in acid
	traceC      = 1e-3  // C/cm² below which a reaction runs out of what it consumes
	localTauS   = 86400 // lead dioxide on lead is eaten by the lead below it
	mostPerStep = 0.25  // V that a potential may move in one step
)

// Lead is one electrode of lead in acid.
type Lead struct {
	areaCM2  float64
	etaV     float64 // of the metal against the acid, 0 at PbSO4/Pb
	sulphate float64 // C/cm²
	dioxide  float64 // C/cm²
}

// NewLead returns an electrode that has stood in acid for a while.
func NewLead(areaCM2 float64) Lead { return Lead{areaCM2: areaCM2, sulphate: freshC} }

// Form turns the surface into lead dioxide, as a long direct current does, or makes it
// new.
func (l *Lead) Form(on bool) {
	*l = NewLead(l.areaCM2)
	if on {
		l.sulphate, l.dioxide, l.etaV = passiveC, 1, formedV
	}
}

// EtaV returns the potential of the metal against the acid, 0 for lead and its sulphate.
func (l *Lead) EtaV() float64 { return l.etaV }

// LeavesV returns what a charge leaves on the double layers of a rod and the common
// electrode of a probe, before the reactions take it away.
func LeavesV(charge float64) float64 { return charge / layerF * (1.0/rodCM2 + 1.0/commonCM2) }

// far returns the current of the reactions, anodic positive, and its slope against the
// potential; A and A/V.
func (l *Lead) far(etaV float64) (amps, slope float64) {
	add := func(i0, fraction, alpha, overV float64) {
		i := i0 * fraction * math.Exp(min(alpha*perVolt*overV, 40))
		if alpha < 0 {
			i = -i
		}
		amps += i * l.areaCM2
		slope += math.Abs(i*alpha) * perVolt * l.areaCM2
	}
	add(pbA, max(1-l.sulphate/passiveC, 0), pbAnodic, etaV)
	add(pbA, min(l.sulphate/traceC, 1), -pbCathodic, etaV)
	add(dioxideA, 1, dioxideAnodic, etaV-formedV)
	add(dioxideA, min(l.dioxide/traceC, 1), -dioxideCatho, etaV-formedV)
	add(hydrogenA, 1, -math.Ln10/hydrogenDecadeV/perVolt, etaV+pbV) // hydrogen is at 0, lead at pbV
	return amps, slope
}

// step lets an anodic current flow for some seconds through a conductance that falls
// with the electrode's potential. It is implicit in that potential, so that a long
// step is stable.
func (l *Lead) step(s, amps, siemens float64) {
	reaction, slope := l.far(l.etaV)
	farad := layerF * l.areaCM2
	move := s * (amps - reaction) / (farad + s*(slope+siemens))
	l.etaV += min(max(move, -mostPerStep), mostPerStep)

	// What the reactions turn over: the part of lead up to the potential at which
	// dioxide forms, beyond that the dioxide's.
	used := (amps*s - farad*move) / l.areaCM2
	switch {
	case l.dioxide > 0 && l.etaV > formedV/2, l.etaV > formedV-0.3:
		l.dioxide = max(l.dioxide+used, 0)
	default:
		l.sulphate = min(max(l.sulphate+used, 0), passiveC)
	}
	l.dioxide *= math.Exp(-s / localTauS)
}
