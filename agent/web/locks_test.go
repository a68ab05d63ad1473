package web_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

const (
	holdForm = "/bays/bay-1/hold"
	removal  = "action=lock-remove&form=cut-hold-1&id=r&lock=hold"
	joining  = "action=join&id=j&ok-wear=yes&ok-metal=yes&ok-spark=yes"
)

// worker is a person who has signed in at a yard.
type worker struct {
	t      *testing.T
	y      *yard
	cookie string
}

func (y *yard) worker(t *testing.T, name string) worker {
	t.Helper()
	code, cookie, _ := y.signIn(name, pin, "/")
	require.Equal(t, 303, code)
	return worker{t, y, cookie}
}

func (w worker) sends(path, form string) (int, string) {
	w.t.Helper()
	answer := w.y.do(w.y.as(w.cookie, "POST", path, form))
	return answer.Code, unescaped(answer.Body.String())
}

func (w worker) sees(path string) string {
	w.t.Helper()
	return unescaped(text(w.t, w.y.do(w.y.as(w.cookie, "GET", path, ""))))
}

func (w worker) done(path, form string) {
	w.t.Helper()
	code, page := w.sends(path, form)
	require.Equal(w.t, 303, code, page)
}

// TestSeveralPeopleHold: each hold shows its name, reason and time, is removed by its
// owner, and everybody else reads who may remove it.
func TestSeveralPeopleHold(t *testing.T) {
	y := newYard(t)
	looker, visitor, boss := y.worker(t, "Looker"), y.worker(t, "Visitor"), y.worker(t, "Boss")
	visitor.done(holdForm, "action=hold&id=1&reason=contactor+smells")
	looker.done(holdForm, "action=hold&id=2&reason=")
	for _, w := range []worker{looker, visitor, boss} {
		for _, path := range []string{"/", "/bays/bay-1"} {
			require.Contains(t, w.sees(path), "On hold by Visitor for 1 s: contactor smells. On hold by Looker for 0 s.", path)
		}
	}
	require.Contains(t, looker.sees("/bays/bay-1"), "Your role cannot remove a hold. Ask Boss.")
	require.Contains(t, looker.sees("/bays/bay-1"), "Only Visitor can remove it; or, when nobody is at the battery, Boss.")
	require.NotContains(t, looker.sees("/bays/bay-1"), `value="unhold"`)
	require.NotContains(t, visitor.sees("/bays/bay-1"), "lock-remove")
	code, _ := looker.sends(holdForm, "action=unhold&id=3")
	require.Equal(t, 403, code)
	visitor.done(holdForm, "action=unhold&id=4")
	code, page := visitor.sends(holdForm, "action=unhold&id=5")
	require.Equal(t, 409, code)
	require.Contains(t, page, "the hold is not yours but that of Looker")
	require.True(t, y.picture("bay-1").Findings[interlock.Held].Raised, "the last one is still there")
}

// TestSomebodyElsesHold goes only with the right, a reason and a look at the pack.
func TestSomebodyElsesHold(t *testing.T) {
	y := newYard(t)
	visitor, boss := y.worker(t, "Visitor"), y.worker(t, "Boss")
	visitor.done(holdForm, "action=hold&id=1")
	require.Contains(t, boss.sees("/bays/bay-1"), "Remove the hold of Visitor")
	code, _ := visitor.sends(holdForm, removal+"&of=Visitor&reason=x&ok-nobody=yes")
	require.Equal(t, 403, code)
	for form, fault := range map[string]string{
		"&of=Visitor&ok-nobody=yes":          "say why",
		"&of=Visitor&reason=gone+home":       "I have looked, and nobody is at the battery",
		"&of=Nobody&reason=x&ok-nobody=yes":  "Nobody has no lock of this kind here",
		"&of=&reason=x&ok-nobody=yes":        "a person who is no longer known has no lock of this kind here",
		"&of=Visitor&reason=a%01&ok-nobody=": "I have looked",
	} {
		code, page := boss.sends(holdForm, removal+form)
		require.GreaterOrEqual(t, code, 400, form)
		require.Contains(t, page, fault, form)
		require.True(t, y.picture("bay-1").Findings[interlock.Held].Raised)
	}
	code, page := boss.sends(holdForm, removal+"&of=Visitor&reason=gone+home")
	require.Equal(t, 400, code)
	require.Contains(t, page, `value="gone home"`, "what was typed is still there")
	boss.done(holdForm, removal+"&of=Visitor&reason=gone+home&ok-nobody=yes")
	require.Empty(t, y.picture("bay-1").Holds)
	require.Contains(t, visitor.sees("/"), "The last lock was removed. The contactor may close in 60 s.")
}

// TestNobodyClosesAVisitFromAfar: everybody in a visit leaves it for themselves.
func TestNobodyClosesAVisitFromAfar(t *testing.T) {
	y := newYard(t)
	visitor, boss := y.worker(t, "Visitor"), y.worker(t, "Boss")
	visitor.done(visit, opening)
	require.NotContains(t, visitor.sees(visit), "You have no lock here")
	code, page := boss.sends(visit, closing)
	require.Equal(t, 409, code)
	require.Contains(t, page, "Visitor is still in the visit, and only the last person closes it")
	require.True(t, y.picture("bay-1").Visit.Open)

	require.Contains(t, boss.sees(visit), "You have no lock here")
	boss.done(visit, joining)
	require.Contains(t, boss.sees(visit), "In this visit: Visitor, Boss.")
	require.NotContains(t, visitor.sees(visit+"?step=close"), `value="close"`)
	require.Contains(t, visitor.sees(visit+"?step=close"), "Others are still in this visit: Boss. Only the last person closes it.")
	visitor.done(visit, "action=leave&id=l")
	require.True(t, y.picture("bay-1").Visit.Open)
	code, page = boss.sends(visit, "action=leave&id=l2")
	require.Equal(t, 409, code)
	require.Contains(t, page, "close it instead")
	boss.done(visit, closing)
	require.False(t, y.picture("bay-1").Visit.Open)
}

// TestAPersonIsTakenOutOfAVisit: it stays open until somebody has looked and closes it.
func TestAPersonIsTakenOutOfAVisit(t *testing.T) {
	y := newYard(t)
	visitor, boss := y.worker(t, "Visitor"), y.worker(t, "Boss")
	visitor.done(visit, opening)
	require.Contains(t, boss.sees(visit+"?step=close"), "Take Visitor out of the visit")
	boss.done(holdForm, "action=lock-remove&form=cut-visit-1&id=c&lock=visit&of=Visitor&reason=gone+home&ok-nobody=yes")
	require.Contains(t, boss.sees(visit), "Nobody is in this visit any more.")
	require.Contains(t, visitor.sees(visit+"?step=close"), `value="close"`)
	boss.done(visit, closing)
	require.False(t, y.picture("bay-1").Visit.Open)
}

// TestAHeldBayIsNotToBeWatered: its tag does not send anybody there with water.
func TestAHeldBayIsNotToBeWatered(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.form(holdForm, "action=hold&by=Ana&id=1&reason=plug+burnt")
	b.change("bay-1", func(p *bay.Picture) { p.Stage = bay.ReadyToWater })
	page := unescaped(text(t, b.get("/")))
	require.Contains(t, page, "tag-held")
	require.NotContains(t, page, "tag-todo")
	require.Contains(t, page, "On hold by Ana for 0 s: plug burnt.")
}
