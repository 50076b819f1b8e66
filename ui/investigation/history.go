package investigation

import "downlead/ui/undo"

// History is a document with its past and its undone future. The zero value is
// an empty document.
type History = undo.History[Document]
