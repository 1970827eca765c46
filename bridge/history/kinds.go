package history

import (
	"fmt"
	"slices"
	"strings"

	"aliquot/bridge/machine"
)

// kind is one type of line: which fields it may and must have beyond time, type, id and by, and what it means.
type kind struct {
	may, must fieldSet
	body      func(*reader, *line) (machine.Body, error)
	spreads   bool // a line about a node stands for one about each of its channels
}

const everyLine = 1<<fTime | 1<<fType | 1<<fID | 1<<fBy

var standing = setOf(fChannel, fSystem, fNode, fReason, fUntil)

var kinds = map[string]kind{
	"test": {body: (*reader).test, must: setOf(fSystem, fQuantity, fValue, fUnit),
		may: setOf(fTemperature, fMethod, fLot, fOf, fStated, fEntered)},
	"run": {body: (*reader).run, must: setOf(fChannel, fVolumeML, fOutcome),
		may: setOf(fSeconds, fDeliveredML, fPurpose, fInto)},
	"calibration": {body: (*reader).calibration, must: setOf(fChannel, fTrials)},
	"primed":      {body: (*reader).primed, must: setOf(fChannel)},
	"tube":        {body: (*reader).tube, must: setOf(fChannel)},
	"refill":      {body: (*reader).refill, must: setOf(fContainer, fVolumeML), may: setOf(fRemainingML)},
	"swap":        {body: (*reader).swap, must: setOf(fContainer, fVolumeML, fSupplement), may: setOf(fRemainingML)},
	"water_change": {body: (*reader).waterChange, must: setOf(fSystem, fVolumeL),
		may: setOf(fMix, fUntil)},
	"salinity_correction": {body: (*reader).salinityCorrection, must: setOf(fSystem),
		may: setOf(fVolumeL, fValue, fUnit)},
	"hold":            {body: (*reader).hold, must: setOf(fUntil), may: standing, spreads: true},
	"release":         {body: (*reader).release, may: standing, spreads: true},
	"out_of_service":  {body: (*reader).outOfService, may: standing, spreads: true},
	"lockout":         {body: (*reader).lockout, must: setOf(fReason), may: standing, spreads: true},
	"cleared":         {body: (*reader).cleared, must: setOf(fReason), may: standing, spreads: true},
	"self_stop_proof": {body: (*reader).proof, may: standing},
	"accepted":        {body: (*reader).accepted, must: setOf(fReason), may: standing},
	"probe":           {body: (*reader).probe, must: setOf(fProbe, fValue, fUnit)},
	"note":            {body: (*reader).note, must: setOf(fSystem, fKind), may: setOf(fText)},
}

// kindOf finds the type of a line and checks its fields against it.
func kindOf(l *line) (kind, error) {
	name := l.text(fType)
	k, ok := kinds[name]
	if !ok {
		return kind{}, fmt.Errorf("unknown type %.40q (there are %s)", name, kindNames())
	}
	if extra := l.has &^ (everyLine | k.may | k.must); extra != 0 {
		return kind{}, fmt.Errorf("%s has no field %q (it has %s)", name, fieldNames[extra.first()], everyLine|k.may|k.must)
	}
	if missing := k.must &^ l.has; missing != 0 {
		return kind{}, fmt.Errorf("%s needs %s", name, missing)
	}
	return k, nil
}

func kindNames() string {
	names := make([]string, 0, len(kinds))
	for name := range kinds {
		names = append(names, name)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}
