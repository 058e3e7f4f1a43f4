#include "dsp/processor.h"

#include <hwy/targets.h>

namespace sendworthy::dsp {

std::int64_t processor_class() { return hwy::SupportedTargets(); }

}  // namespace sendworthy::dsp
