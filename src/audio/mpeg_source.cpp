#include "audio/mpeg_source.h"

#include <fmt/format.h>
#include <mpg123.h>

#include <algorithm>
#include <utility>
#include <vector>

namespace sendworthy::audio {
namespace {

struct Delete {
  void operator()(mpg123_handle* handle) const { mpg123_delete(handle); }
};

// The range of the file that the walk found to be MPEG frames, read once from front to back.
struct Range {
  std::unique_ptr<Bytes> bytes;
  std::int64_t at = 0, end = 0;
};

ssize_t read_range(void* handle, void* to, std::size_t count) {
  auto& range = *static_cast<Range*>(handle);
  const auto got = range.bytes->read_at(range.at, to, std::min(static_cast<std::int64_t>(count), range.end - range.at));
  range.at += got;
  return static_cast<ssize_t>(got);
}

class MpegSource final : public Source {
 public:
  MpegSource(std::unique_ptr<Range> range, std::unique_ptr<mpg123_handle, Delete> handle, Walked walked)
      : range_(std::move(range)),
        handle_(std::move(handle)),
        format_(std::move(walked.format)),
        damage_(std::move(walked.stream_damage)),
        declared_(walked.facts.declared_frames),
        expected_(walked.expected_frames) {}

  const StreamFormat& format() const override { return format_; }
  std::optional<std::int64_t> expected_frames() const override { return expected_; }
  const std::vector<Damage>& damage() const override { return damage_; }
  std::int64_t read_codes(std::int32_t*, std::int64_t) override { return 0; }

  std::int64_t read_reals(double* interleaved, std::int64_t frames) override {
    std::int64_t done = 0;
    while (done < frames && !ended_) {
      const auto n = read_some(interleaved + done * format_.channels, frames - done);
      done += n;
      if (n == 0) finish();
    }
    return done;
  }

 private:
  std::int64_t read_some(double* to, std::int64_t frames) {
    const auto channels = static_cast<std::size_t>(format_.channels);
    floats_.resize(static_cast<std::size_t>(std::min<std::int64_t>(frames, 4096)) * channels);
    for (;;) {
      std::size_t got = 0;
      const int status = mpg123_read(handle_.get(), floats_.data(), floats_.size() * sizeof(float), &got);
      const auto samples = got / sizeof(float) / channels * channels;
      std::copy_n(floats_.begin(), samples, to);
      if (samples > 0) return count(samples / channels);
      if (status == MPG123_NEW_FORMAT) {
        if (same_format()) continue;
        why_ = "the stream has another format than its first frame";
      } else if (status == MPG123_ERR) {
        why_ = mpg123_strerror(handle_.get());
      } else if (status != MPG123_OK && status != MPG123_DONE) {
        why_ = mpg123_plain_strerror(status);
      }
      return 0;
    }
  }

  bool same_format() {
    long rate = 0;
    int channels = 0, encoding = 0;
    return mpg123_getformat(handle_.get(), &rate, &channels, &encoding) == MPG123_OK && rate == format_.sample_rate &&
           channels == format_.channels && encoding == MPG123_ENC_FLOAT_32 && ++formats_ < 1000;
  }

  std::int64_t count(std::size_t frames) {
    at_ += static_cast<std::int64_t>(frames);
    return static_cast<std::int64_t>(frames);
  }

  void finish() {
    ended_ = true;
    if (const auto error = range_->bytes->error(); !error.empty())
      damage_.push_back({"reading failed: " + error, range_->at, at_});
    if (!why_.empty()) damage_.push_back({"the decoder says: " + why_, range_->at, at_});
    if (declared_ && at_ != *declared_)
      damage_.push_back(
          {fmt::format("the header says {} frames, {} could be decoded", grouped(*declared_), grouped(at_)), -1, at_});
  }

  std::unique_ptr<Range> range_;  // outlives handle_, which reads through it
  std::unique_ptr<mpg123_handle, Delete> handle_;
  StreamFormat format_;
  std::vector<Damage> damage_;
  std::optional<std::int64_t> declared_, expected_;
  std::vector<float> floats_;
  std::string why_;
  std::int64_t at_ = 0;
  int formats_ = 0;
  bool ended_ = false;
};

}  // namespace

Result<std::unique_ptr<Source>> open_mpeg(std::unique_ptr<Bytes> bytes, Walked walked, const std::string& path) {
  static const int ready = mpg123_init();  // needed once before 1.27
  const auto refuse = [&](const std::string& why) {
    return fail(ErrorCode::unrecognised,
                fmt::format("cannot read \"{}\": the decoder for {} refuses it ({}); export it again", path,
                            walked.facts.encoding, why));
  };
  int status = ready;
  std::unique_ptr<mpg123_handle, Delete> handle(status == MPG123_OK ? mpg123_new(nullptr, &status) : nullptr);
  if (!handle) return refuse(mpg123_plain_strerror(status));
  auto range = std::make_unique<Range>();
  range->at = walked.data.offset;
  range->end = walked.data.offset + walked.data.bytes;
  range->bytes = std::move(bytes);
  auto* const h = handle.get();
  const auto off_t_none = [](void*, off_t, int) -> off_t { return -1; };  // read once, so nothing has to seek
  if (mpg123_param(h, MPG123_ADD_FLAGS, MPG123_QUIET | MPG123_FORCE_FLOAT, 0) != MPG123_OK ||
      mpg123_param(h, MPG123_REMOVE_FLAGS, MPG123_AUTO_RESAMPLE, 0) != MPG123_OK || mpg123_format_all(h) != MPG123_OK ||
      mpg123_replace_reader_handle(h, &read_range, off_t_none, nullptr) != MPG123_OK ||
      mpg123_open_handle(h, range.get()) != MPG123_OK)
    return refuse(mpg123_strerror(h));
  return std::make_unique<MpegSource>(std::move(range), std::move(handle), std::move(walked));
}

std::string mpg123_version() {
#ifdef SENDWORTHY_MPG123_VERSION  // as found when this was built
  return SENDWORTHY_MPG123_VERSION;
#else
  return std::to_string(MPG123_API_VERSION);
#endif
}

}  // namespace sendworthy::audio
