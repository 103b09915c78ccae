# Modules of encapsulated documents, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	Encapsulated Document Series	C.24.1
Modality	1
SeriesInstanceUID	1
SeriesNumber	1
SeriesDate	3
SeriesTime	3
ReferencedPerformedProcedureStepSequence	3	-	items 1
>include	SOP Instance Reference
ProtocolName	3
SeriesDescription	3
SeriesDescriptionCodeSequence	3	-	items 1
>include	Code
RequestAttributesSequence	3	-	items 1-n
>include	Request Attributes
PerformedProcedureStepID	3
PerformedProcedureStepStartDate	3
PerformedProcedureStepStartTime	3
PerformedProcedureStepEndDate	3
PerformedProcedureStepEndTime	3
PerformedProcedureStepDescription	3
PerformedProtocolCodeSequence	3	-	items 1-n
>include	Code
>ProtocolContextSequence	3	-	items 1-n
>>include	Content Item with Modifiers
CommentsOnThePerformedProcedureStep	3
TreatmentSessionUID	3

module	Encapsulated Document	C.24.2
InstanceNumber	1
ContentDate	2
ContentTime	2
AcquisitionDateTime	2
ImageLaterality	3	-	R|L|U|B
BurnedInAnnotation	1	-	YES|NO
RecognizableVisualFeatures	3	-	YES|NO
SourceInstanceSequence	1C	unchecked: what a document was made from is not in the object	items 1-n
>include	SOP Instance Reference
>PurposeOfReferenceCodeSequence	3	-	items 1; cid D7060
>>include	Code
ReferencedImageSequence	3	-	items 1-n
>include	Image SOP Instance Reference
>RelativeURIReferenceWithinEncapsulatedDocument	1C	unchecked: references inside the document are not looked for
ReferencedInstanceSequence	3	-	items 1-n
>include	SOP Instance Reference
>RelativeURIReferenceWithinEncapsulatedDocument	1C	unchecked: references inside the document are not looked for
DocumentTitle	2
ConceptNameCodeSequence	2	-	items 0-1; cid B7020
>include	Code
DocumentClassCodeSequence	3	-	items 1-n
>include	Code
VerificationFlag	3	-	UNVERIFIED|VERIFIED
HL7InstanceIdentifier	1C	MIMETypeOfEncapsulatedDocument=text/XML
PredecessorDocumentsSequence	3	-	items 1-n
>StudyInstanceUID	1
>ReferencedSeriesSequence	1	-	items 1-n
>>SeriesInstanceUID	1
>>RetrieveAETitle	3
>>RetrieveLocationUID	3
>>RetrieveURL	3
>>StorageMediaFileSetID	3
>>StorageMediaFileSetUID	3
>>ReferencedSOPSequence	1	-	items 1-n
>>>include	SOP Instance Reference
>>>PurposeOfReferenceCodeSequence	3	-	items 1-n
>>>>include	Code
>>>ReferencedDigitalSignatureSequence	3	-	items 1-n
>>>>DigitalSignatureUID	1
>>>>Signature	1
>>>ReferencedSOPInstanceMACSequence	3	-	items 1
>>>>MACCalculationTransferSyntaxUID	1
>>>>MACAlgorithm	1	-	terms RIPEMD160|MD5|SHA1
>>>>DataElementsSigned	1
>>>>MAC	1
IdenticalDocumentsSequence	3	-	items 1-n
>StudyInstanceUID	1
>ReferencedSeriesSequence	1	-	items 1-n
>>SeriesInstanceUID	1
>>RetrieveAETitle	3
>>RetrieveLocationUID	3
>>RetrieveURL	3
>>StorageMediaFileSetID	3
>>StorageMediaFileSetUID	3
>>ReferencedSOPSequence	1	-	items 1-n
>>>include	SOP Instance Reference
>>>PurposeOfReferenceCodeSequence	3	-	items 1-n
>>>>include	Code
>>>ReferencedDigitalSignatureSequence	3	-	items 1-n
>>>>DigitalSignatureUID	1
>>>>Signature	1
>>>ReferencedSOPInstanceMACSequence	3	-	items 1
>>>>MACCalculationTransferSyntaxUID	1
>>>>MACAlgorithm	1	-	terms RIPEMD160|MD5|SHA1
>>>>DataElementsSigned	1
>>>>MAC	1
MIMETypeOfEncapsulatedDocument	1
ListOfMIMETypes	1C	unchecked: parts inside the document are not looked for
EncapsulatedDocument	1
EncapsulatedDocumentLength	3
ValueType	1C	has ContentSequence	CONTAINER
ContentSequence	3	-	items 1-n; open: the content tree of a document is not followed
ContinuityOfContent	1C	has ContentSequence	SEPARATE|CONTINUOUS
ContentTemplateSequence	1C	unchecked: whether a template was used is not in the object	items 1
>MappingResource	1	-	terms DCMR|99RPH|99SMS_CTMR|99PMP|99QIICR
>MappingResourceUID	3	-	terms 1.2.840.10008.8.1.1
>TemplateIdentifier	1
