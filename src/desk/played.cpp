#include "desk/played.h"

#include <algorithm>
#include <cmath>

namespace sendworthy::desk {
namespace {

double rounded(double value, double steps) { return std::round(value * steps) / steps; }

}  // namespace

void PlayedTime::add(double seconds, std::optional<double> a_power, double gain_db, int channels) {
  const std::lock_guard lock(mutex_);
  seconds = std::clamp(seconds, 0.0, std::max(0.0, running_s_() - played_.seconds));
  safety::add_played(played_, monitoring_, seconds, a_power, gain_db, channels);
}

Json PlayedTime::tell() const {
  const std::lock_guard lock(mutex_);
  const auto words = safety::words_of(played_, monitoring_);
  Json json;
  json["seconds"] = rounded(played_.seconds, 1e3);
  json["exposure"] = nullptr;
  if (!words.exposure.empty())
    json["exposure"] = {{"low_percent", rounded(100 * played_.low_share, 1e4)}, {"high_percent", rounded(100 * played_.high_share, 1e4)}, {"text", words.exposure}, {"source", words.source}};
  json["time"] = words.time;
  json["rest"] = words.rest;
  json["text"] = words.rest.empty() ? words.time : words.time + " " + words.rest;
  return json;
}

Json PlayedTime::cautions() const {
  Json json = Json::array();
  for (const auto& caution : safety::playing_cautions(monitoring_)) json.push_back({{"text", caution.text}, {"source", caution.source}});
  return json;
}

}  // namespace sendworthy::desk
