/**
 * The one public door: every public name is listed here by hand.
 *
 * @packageDocumentation
 */
export type { StandardCurve } from './capture/curves.js';
export type { CalibrationKind, Notice, NoticeReason } from './capture/pass.js';
export type { RecordedCurve } from './capture/read-still.js';
export { SettingsError, type SettingsFault } from './capture/settings-fault.js';
export type { SettingsFields } from './capture/settings-fields.js';
export { readSettingsFile } from './capture/settings-file.js';
export { nearestName } from './capture/settings-nearest.js';
export { parseSettings, readSettings } from './capture/settings-read.js';
export { writeSettingsTemplate } from './capture/settings-template.js';
export type {
  BodyName,
  CalibrationSettings,
  CaptureSettings,
  EncodingSettings,
  ListingSettings,
  OpticsSettings,
  PassSettings,
  RightsSettings,
  SensorSettings,
  SiteSettings,
  SplitSettings,
} from './capture/settings-types.js';
export type { TimeOddity, TimeSource } from './capture/time-resolve.js';
export type { CoverageGrid } from './check/coverage-grid.js';
export type { Finding, FindingKind } from './check/findings.js';
export type { Look } from './check/look.js';
export type { TimeLeft } from './check/time-left.js';
export { type CheckedPass, type CheckOptions, type CheckResult, checkCapture } from './check.js';
export type { Affine } from './compute/affine.js';
export type { Plane } from './compute/image.js';
export type { Similarity } from './compute/similarity.js';
export { type BodyPose, bodyToPlate, type PlatePlace, plateToBody } from './georef/body-pose.js';
export { bodyPoseOf } from './georef/describe-where.js';
export type { MapProjection } from './georef/map-grid.js';
export {
  type ErrorCode,
  InputError,
  InternalError,
  InterruptedError,
  type LeftOut,
  OutputError,
  PleniluneError,
  ResourceError,
  UsageError,
} from './job/errors.js';
export type { ProgressEvent, ProgressListener, ProgressUnit } from './job/progress.js';
export type { FineFigures } from './photometry/fine-stage.js';
export type { SmoothPattern } from './photometry/pattern.js';
export { solveGraph } from './placement/graph.js';
export {
  type EdgeReason,
  type EdgeVerdict,
  type FixKind,
  GRAPH_DEFAULTS,
  type GraphEdge,
  type GraphFix,
  type GraphGroup,
  type GraphSettings,
  type GraphSolution,
  type GraphStrip,
  type StripReason,
  type StripVerdict,
  UNDETERMINED_PX,
} from './placement/graph-types.js';
export { type FindLimbOptions, findLimb, type LimbFit } from './placement/limb.js';
export type { OverlapFigures, OverlapReason } from './placement/overlap-verdict.js';
export type { EdgeReport, PlacedBy } from './placement/place-stage.js';
export type { ExposureStart } from './plan/exposure-start.js';
export type { MissedCondition, PlanMiss } from './plan/missed.js';
export { plan } from './plan/plan.js';
export { planCalendar } from './plan/plan-calendar.js';
export type { PlanMoment } from './plan/plan-clock.js';
export { PLAN_DEFAULTS } from './plan/plan-defaults.js';
export type { PlanOptions, PlanWish } from './plan/plan-options.js';
export { planSheet } from './plan/plan-sheet.js';
export type {
  ChannelStops,
  PassAim,
  Plan,
  PlanMargins,
  PlannedCamera,
  PlannedDisc,
  PlannedPass,
  PlannedWindow,
  ShotList,
  WindowFit,
} from './plan/plan-types.js';
export { dataNote, lasting, missNotes, passTable, shotNotes, spanText } from './plan/plan-words.js';
export type { SunWarning } from './plan/sun-warning.js';
export { type PlanFiles, writePlanFiles } from './plan-files.js';
export type { Background } from './plate/background.js';
export type { CropPlace, CropRequest } from './plate/crop.js';
export type { MapPaths } from './plate/deliver.js';
export type { ExrSamples } from './plate/exr-layout.js';
export type { Gap } from './plate/gaps.js';
export type { HashedFile } from './plate/hashed-file.js';
export type { LimbEllipse } from './plate/limb-ellipse.js';
export type { LimbModel, SkyLight } from './plate/limb-model.js';
export type { LimbSoftness } from './plate/limb-softness.js';
export type { MasterEncoding, MasterPrimaries } from './plate/master-colour.js';
export type { CropFormat, MasterOptions } from './plate/masters-options.js';
export { readSidecar } from './plate/read-sidecar.js';
export {
  SIDECAR_VERSION,
  type Sidecar,
  type SidecarCalibration,
  type SidecarCrop,
  type SidecarFrame,
  type SidecarOverlap,
  type SidecarPass,
} from './plate/sidecar.js';
export type {
  MapAgreement,
  PlateDisc,
  PlateFeature,
  UnknownReason,
  Whereabouts,
  WhereUnknown,
} from './plate/whereabouts.js';
export type { PackKind, PackListing, PackPicture } from './publish/listing.js';
export type { MakerFacts } from './publish/maker.js';
export type { PlateFacts, ShownFeature } from './publish/plate-facts.js';
export { type PublishOptions, type PublishResult, publish } from './publish.js';
export type { ColourShift } from './registration/colour-shift.js';
export type { Masked } from './registration/lock.js';
export { registerPair } from './registration/pair.js';
export { type ShiftBoundInput, shiftBound } from './registration/pair-bound.js';
export {
  isCertain,
  SEARCH_CERTAIN,
  type SimilarityCandidate,
  searchSimilarity,
} from './registration/pair-search.js';
export type { SearchRanges } from './registration/pair-search-vote.js';
export {
  PAIR_DEFAULTS,
  type PairCovariance,
  type PairFreedom,
  type PairOptions,
  type PairParameter,
  type PairPicture,
  type PairPlaced,
  type PairPrior,
  type PairRefusalReason,
  type PairRefused,
  type PairResult,
} from './registration/pair-types.js';
export type { TrackGap } from './registration/track.js';
export { type PlanRehearsal, type PlanRehearsalOptions, planRehearsal } from './rehearsal/plan-rehearsal.js';
export {
  REHEARSAL_DEFAULTS,
  type RehearsalOptions,
  type RehearsalSeeing,
  type RehearsalSettings,
  type RehearsalSummary,
  rehearse,
  type TrackPlace,
} from './rehearsal/rehearse.js';
export { type ScoreOptions, type ScoreReport, scorePlate } from './rehearsal/score.js';
export { TRANSFER_BANDS } from './rehearsal/score-transfer.js';
export {
  type BodyFrame,
  bodyToSky,
  limbRadiusArcsec,
  type PlacedPoint,
  skyToBody,
  sunAltitudeAtDeg,
} from './sky/body-frame.js';
export {
  type CameraDrift,
  cameraDrift,
  crossingTimeS,
  type DriftCamera,
  longestExposureS,
  type RollingShutter,
  rollingShutter,
} from './sky/camera-drift.js';
export { type Aim, type SunCause, type SunCaution, type SunCautionCode, sunCaution } from './sky/caution.js';
export { airIndexMinusOne, CHANNEL_NM, dispersionArcsec } from './sky/dispersion.js';
export { type Drift, drift, sagittaArcsec } from './sky/drift.js';
export { type Ephemeris, ephemeris, type Terminator } from './sky/ephemeris.js';
export { airmass, extinctionPerAirmass, transmission } from './sky/extinction.js';
export { type FeatureKind, type NamedFeature, namedFeatures } from './sky/features.js';
export { type FeatureInView, featuresInView } from './sky/features-in-view.js';
export { type FeatureInLight, NEAR_TERMINATOR_DEG, reliefNearTerminator } from './sky/near-terminator.js';
export { type MoonPhase, moonPhase, PHASE_NAMES, type PhaseName } from './sky/phase.js';
export type { PlaceSettings } from './sky/place-settings.js';
export {
  apparentAltitudeDeg,
  flatteningArcsec,
  refractionArcmin,
  trueAltitudeDeg,
} from './sky/refraction.js';
export { type AirView, throughAir, withoutAir } from './sky/through-air.js';
export { type Twilight, type TwilightKind, twilight, twilightKind } from './sky/twilight.js';
export {
  type Air,
  type BodyPoint,
  type Site,
  SKY_BODIES,
  type SkyBody,
  type SkyPoint,
  standardAir,
} from './sky/types.js';
export { type SkyWindow, skyWindows } from './sky/windows.js';
export type { AngleRange, ConditionKind, SkyWish } from './sky/wishes.js';
export { type StitchOptions, type StitchResult, stitch } from './stitch.js';
export type { SharpChoice, WeightTrade } from './strip/sharp-weights.js';
export { type PlateDifference, sidecarAt, type VerifyOptions, type VerifyResult, verifyPlate } from './verify.js';
export {
  type PackDifference,
  packAt,
  type VerifyPackOptions,
  type VerifyPackResult,
  verifyPack,
} from './verify-pack.js';
