// The one list of modules. Order matters in one way: a meter that reads another's measurement in report() stands later.
#include <algorithm>
#include <array>

#include "measure/meter.h"

namespace sendworthy::measure {

extern const MeterModule kFormatModule, kLoudnessModule, kTruePeakModule, kLevelModule, kCodeModule, kStereoModule,
    kLowBandModule, kSpectralModule, kDelayModule, kChannelModule, kEdgeModule, kCutModule, kOutlineModule, kContinuityModule,
    kLossyModule, kWordLengthModule, kToneModule, kSurroundModule, kDeclaredModule, kNameModule, kTagModule,
    kTextModule, kCoverModule, kStartModule;

std::span<const MeterModule> modules() {
  static const std::array list{kFormatModule, kLoudnessModule, kTruePeakModule, kLevelModule, kCodeModule,
                               kStereoModule, kLowBandModule, kSpectralModule, kDelayModule, kChannelModule, kEdgeModule, kCutModule,
                               kOutlineModule, kContinuityModule, kLossyModule, kWordLengthModule, kToneModule,
                               kSurroundModule, kDeclaredModule, kNameModule, kTagModule, kTextModule, kCoverModule,
                               kStartModule};
  return list;
}

}  // namespace sendworthy::measure

namespace sendworthy {

const Catalog& catalog() {
  static const Catalog instance = [] {
    // In the order of the contract: by group; within a group what is measured comes first.
    Catalog all;
    for (const auto& module : measure::modules()) {
      for (const auto& entry : module.entries) all.entries.push_back(&entry);
    }
    std::stable_sort(all.entries.begin(), all.entries.end(), [](const CatalogEntry* a, const CatalogEntry* b) {
      return a->group != b->group ? a->group < b->group : a->available > b->available;
    });
    return all;
  }();
  return instance;
}

}  // namespace sendworthy
