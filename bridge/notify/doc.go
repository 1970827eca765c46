// Package notify tells alerts on ways that need neither broker nor dashboard: a webhook and a command.
//
// It decides what is news to each way and keeps trying until the news is taken or of no use any more. It never decides
// whether an alert is raised, and it never makes its caller wait: Tell and Try only put a message down. Of each alert
// only the newest news waits, so that what waits is bounded however long a way is closed. What a way has been told is
// known to this process only: a new process tells what still stands once more.
package notify
