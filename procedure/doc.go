// Package procedure holds services with a set order: what a person may do next
// on a vehicle, what must be waited for and watched, and the way back from every
// step when it is interrupted.
//
// A procedure is data (File, read by Load). Compile turns it into a Machine: a
// finite state machine over facts of the physical state, step phases, the motor
// that moves or rests, and the bands of what is watched. One Machine serves two
// masters: the checker explores every state it can reach, and the runner steps
// through it with a real clock. What was proven is what runs.
//
// Facts are known only by confirmation. While a step that changes a fact is
// under way the fact is "unsure", and so it stays if the step is interrupted.
// No rule of safety is ever met by an unsure fact.
//
// Rules of a hazard class (Class) belong to this package, not to the file: they
// attach by the file's systems and a file cannot drop them. The words of a file
// (its acts) are tied to the facts they change, so an act cannot be renamed to
// slip past a rule: the fact it should set would then never become true.
//
// Nothing here commands a vehicle. A "command" is one the technician sends with
// their own equipment. "Stop" means: send no further command, let it come to rest.
package procedure
