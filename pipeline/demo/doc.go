// Package demo makes up a registry of shoulder operations whose true parameters are known.
//
// Everything in it is invented: the place (the Invented Isles), the people, the codes of hospitals, surgeons and
// implants, and the size of every effect. It is there to show the program at work, and to test it: [Truth] says what the
// estimates must come to, and [Records.Defects] what the checks must find.
//
// # The model
//
// A patient has an indication and a procedure (file world.go lists the pairs, their shares and the effects), an age, a
// sex, an ASA class and a hospital. The other side follows for some of them, a quarter of a year to five years later, if
// the patient lives to see it. Given what is recorded of the shoulder:
//
//   - revision has a hazard that is constant in pieces and falls with time, times a ratio for the indication, the whole
//     years of age, the sex, the implant and the hospital;
//   - death has a hazard that rises exponentially with age, times a ratio for the sex, the ASA class and the indication;
//   - the two are independent, and both are independent of the day of the operation and so of the data cut.
//
// The last line holds for second sides too. Patients are followed from five years before the registry opens, so that
// second sides come at their full rate from its first day, and the number of operations grows by the same factor each
// year; both together make the mix of shoulders the same on every day. [Truth] rests on that.
//
// # Whole days
//
// A moment t > 0 after the operation is recorded as day ⌈t⌉. Then "by day d" means "in the first d days": the number of
// events on days 1 to d has exactly the continuous distribution at d, nothing happens on the day of the operation, and
// no half-day correction stands between an estimate and the truth.
package demo
